"""axe-core in a page of the browser: what it finds against WCAG 2.2 level AA (https://www.w3.org/TR/WCAG22/).

`tools/setup` fetches the script; rules and tags: https://www.deque.com/axe/core-documentation/api-documentation/.
"""

from __future__ import annotations

import json
import sys
from functools import cache
from pathlib import Path
from typing import Any

from tests.system.chromium_session import Session

TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice")
ROOT = Path(__file__).resolve().parents[2]
PLACES = (ROOT / ".venv" / "share" / "axe.min.js", Path(sys.prefix) / "share" / "axe.min.js")


@cache
def script() -> str:
    """The text of axe-core. Raises FileNotFoundError with how to get it."""
    for place in PLACES:
        if place.is_file():
            return place.read_text(encoding="utf-8")
    raise FileNotFoundError(f"no {PLACES[0]}: run python tools/fetch_axe.py")


async def violations(page: Session, tags: tuple[str, ...] = TAGS, within: str | None = None) -> list[str]:
    """One line for each thing that is wrong: rule, element, and what axe says of it; empty where nothing is.

    `within` is a selector: only what is inside. The page's content policy does not matter: the protocol is no page.
    """
    if not await page.evaluate("typeof window.axe === 'object'"):
        await page.call("Runtime.evaluate", expression=script())
    options = {"runOnly": {"type": "tag", "values": list(tags)}, "resultTypes": ["violations"]}
    found = await page.evaluate(f"axe.run({json.dumps(within)} ?? document, {json.dumps(options)})")
    return [line for rule in found["violations"] for line in _lines(rule)]


def _lines(rule: dict[str, Any]) -> list[str]:
    return [
        f"{rule['id']}: {' '.join(map(str, node['target']))}: {' '.join(node['failureSummary'].split())}"
        for node in rule["nodes"]
    ]
