"""What the page asks of tracking inputs: where their points are now."""

from __future__ import annotations

import asyncio
from typing import Any

from bridge.errors import Refused
from bridge.panel.asks import Answer
from bridge.panel.pages import Page
from bridge.panel.panel import Panel


class TrackedAsks:
    """Answers what the page asks of points."""

    def __init__(self, panel: Panel) -> None:
        self._panel = panel

    @property
    def table(self) -> dict[str, Answer]:
        """Word -> answer."""
        return {"points": self.points}

    async def points(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """The points of `input` that are heard: where in its own axes (m), how often (Hz), and how long ago (ms)."""
        name = data.get("input")
        if name not in self._panel.folder.show.network.inputs:
            raise Refused("unknown-name", f"there is no tracking input {str(name)[:40]!r} in network.yaml")
        now_s = asyncio.get_running_loop().time()
        rows = [(point, row) for (of, point), row in self._panel.heard.rows.points.items() if of == name]
        return {
            "points": [
                {
                    "point": point,
                    "at": [round(v, 4) for v in row[:3]],
                    "rate": round(row[3], 1),
                    "age": round(row[4] + 1000 * (now_s - row[5])),
                }
                for point, row in sorted(rows, key=lambda each: _numbers(each[0]))
            ]
        }


def _numbers(point: str) -> list[int]:
    return [int(part) if part.isdigit() else 0 for part in point.split("/")]
