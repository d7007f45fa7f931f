"""stage.yaml for the page's editor: `stage` says what it is now, `stage-save` changes it and has the bridge read it.

Lengths are as written: metres, or text with a unit. The file is changed by show/stage_edit.py alone, beside the loop.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Mapping, Sequence
from typing import Any

from bridge.errors import InputError, Refused
from bridge.panel.asks import Answer
from bridge.panel.pages import Page
from bridge.panel.reload import Bridge, Reload
from bridge.show.rows import SWITCH
from bridge.show.stage_edit import StageChanged, StageFile, StageRefused, read_stage_file, save_stage

MOST_CHANGES = 2000
AREA_FIELDS = ("corners", "height", "on")


class StageNo(InputError):
    """What may not be saved: `problems` are `{where, what}`, where a path such as marks.A.at."""

    def __init__(self, text: str, problems: Sequence[Mapping[str, str]]) -> None:
        super().__init__(text)
        self.problems = list(problems)


class StageAsks:
    """Reads and saves stage.yaml; `reload` has the bridge read the show again."""

    def __init__(self, panel: Bridge, reload: Reload) -> None:
        self._panel, self._reload = panel, reload
        self._saving = asyncio.Lock()

    @property
    def table(self) -> dict[str, Answer]:
        """For `Panel.answers`."""
        return {"stage": self.stage, "stage-save": self.save}

    async def stage(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """`{digest, stage, odd}`: see `plain_stage`. Raises StageNo where the file cannot be read."""
        try:
            return _told(await asyncio.to_thread(read_stage_file, self._panel.folder.path))
        except StageRefused as error:
            raise _no(error) from None

    async def save(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """`{digest, stage, odd, taken, lines}`; `taken`: whether the bridge goes by it now, `lines` say why not.

        Raises StageNo with all that is wrong (where: `digest`, if somebody else changed the file); nothing is written.
        """
        changes, digest = data.get("changes"), data.get("digest")
        if not isinstance(changes, list) or len(changes) > MOST_CHANGES or not isinstance(digest, str):
            raise Refused("ask", f"stage-save: expected `changes`, a list of at most {MOST_CHANGES}, and `digest`")
        if self._panel.heard.rows.bridge.get("locked"):
            raise Refused("locked", "The bridge is locked for the show, so nothing is saved; Lock on Rig opens it.")
        folder = self._panel.folder.path
        async with self._saving:
            try:
                await asyncio.to_thread(save_stage, folder, changes, digest)
                saved = _told(await asyncio.to_thread(read_stage_file, folder))
            except StageRefused as error:
                raise _no(error) from None
            except StageChanged as error:
                raise StageNo(str(error), [{"where": "digest", "what": str(error)}]) from None
            self._panel.folder.look_soon()
            taken, lines = await self._reload.ask(page)
        return {**saved, "taken": taken, "lines": lines}


def _no(error: StageRefused) -> StageNo:
    problems = []
    for problem in error.problems:
        here = problem.file in ("", "stage.yaml")
        what = problem.text if here else f"{problem.file}, line {problem.line}: {problem.text}"
        problems.append({"where": problem.path if here else "", "what": what})
    count = len(problems)
    return StageNo(f"Nothing is saved: {count} {'problem' if count == 1 else 'problems'} to put right.", problems)


def _told(file: StageFile) -> dict[str, Any]:
    stage, odd = plain_stage(file.data)
    return {"digest": file.digest, "stage": stage, "odd": odd}


# The file's data for forms


def plain_stage(data: Any) -> tuple[dict[str, Any], list[str]]:
    """What a page can edit of the data of stage.yaml, and paths of what is written in a way that it cannot.

    `marks` {name, at [3] or null, sigma, height}, `tapes` {number, between, metres, sigma}, `performance_polygon`
    {corners, height [2] or null, margin}, `more_areas` and `no_light` {name, corners, height, on}, `floors` {name,
    corners, height}, `datum` {origin, along_x} or null, `seat` [3] or null. What is not written is null.
    """
    odd: list[str] = []
    data = data if isinstance(data, dict) else {}
    polygon = _area(data.get("performance_polygon"), ("corners", "height", "margin"))
    if polygon is None:
        odd.append("performance_polygon")
    datum, seat = data.get("datum"), data.get("seat")
    stage = {
        "marks": _listed(data, "marks", odd),
        "tapes": _listed(data, "tapes", odd),
        "performance_polygon": polygon,
        **{kind: _listed(data, kind, odd) for kind in ("more_areas", "floors", "no_light")},
        "datum": _fields(datum, ("origin", "along_x")) if isinstance(datum, dict) else None,
        "seat": _values(seat, 3),
    }
    odd += [key for key, value in (("datum", datum), ("seat", seat)) if value is not None and stage[key] is None]
    return stage, odd


def _listed(data: dict[str, Any], kind: str, odd: list[str]) -> list[dict[str, Any]]:
    group = data.get(kind)
    if group is None:
        return []
    if not isinstance(group, dict if kind == "marks" else list):
        odd.append(kind)
        return []
    found = []
    for key, value in group.items() if isinstance(group, dict) else enumerate(group, 1):
        item = _READ[kind](value)
        if item is None:
            odd.append(f"{kind}.{key}")
        else:
            found.append({"name" if kind == "marks" else "number": key, **item})
    return found


def _mark(value: Any) -> dict[str, Any] | None:
    entry = value if isinstance(value, dict) else {"at": value}
    at = _values(entry.get("at"), 3)
    known = at is not None or entry.get("at") == "unknown"
    return {"at": at, **_fields(entry, ("sigma", "height"))} if known else None


def _tape(value: Any) -> dict[str, Any] | None:
    between = _values(value.get("between"), 2) if isinstance(value, dict) else None
    return None if between is None else {"between": between, **_fields(value, ("metres", "sigma"))}


def _named(fields: tuple[str, ...]) -> Any:
    def read(value: Any) -> dict[str, Any] | None:
        area = _area(value, fields)
        name = value.get("name") if isinstance(value, dict) else None
        return None if area is None or not isinstance(name, str) else {"name": name, **area}

    return read


def _area(value: Any, fields: tuple[str, ...]) -> dict[str, Any] | None:
    corners = value.get("corners") if isinstance(value, dict) else None
    points = [_values(corner, 2) for corner in corners] if isinstance(corners, list) else [None]
    if any(point is None for point in points):
        return None
    area = {**_fields(value, fields), "corners": points}
    if area.get("height") is not None and (fields == AREA_FIELDS or "margin" in fields):
        area["height"] = _values(area["height"], 2)
    if "on" in fields:
        on = area["on"]
        area["on"] = True if on is None else SWITCH.get(on.lower(), True) if isinstance(on, str) else bool(on)
    return area


_READ = {
    "marks": _mark,
    "tapes": _tape,
    "more_areas": _named(AREA_FIELDS),
    "no_light": _named(AREA_FIELDS),
    "floors": _named(("corners", "height")),
}


def _fields(value: dict[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    return {name: _value(value.get(name)) for name in names}


def _values(value: Any, count: int) -> list[Any] | None:
    return [_value(one) for one in value] if isinstance(value, list) and len(value) == count else None


def _value(value: Any) -> Any:
    """Numbers and text as written; JSON cannot say an infinite number."""
    return str(value) if isinstance(value, float) and not math.isfinite(value) else value
