"""A person at the stage editor, for tests: opens it, drags on its plan, types into fields by their labels, saves.

The show is the demo's with a stage file as a hand wrote it, with comments, units and more than one of each kind.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.system.chromium import Page
from tests.system.chromium_hands import Point, Pointer
from tests.system.panel_shows import StagedShow, demo_show

STAGE = """# Harbour Hall, measured in May
version: 1
performance_polygon:
  corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]]   # the white line
  height: [-0.5, 4.0]
  margin: 15 cm
more_areas:
  - {name: thrust, corners: [[-2, -2.5], [2, -2.5], [2, 0], [-2, 0]], on: off}   # only in act 2
floors: [{name: riser, corners: [[-2, 5], [2, 5], [2, 8], [-2, 8]], height: 60 cm}]
no_light: [{name: first-rows, corners: [[-7, -6], [7, -6], [7, -4], [-7, -4]], height: [0, 2]}]
marks:
  A: [-5.5, 0.5, 0]     # front left
  B: [5.5, 0.5, 0]
  C: {at: [5, "24' 7\\"", 0], sigma: 0.02}   # by tape
  D: [-5.5, 7, 0]
  E: [0, 4, 0]
  F: {at: unknown, height: 0}
tapes:
  - {between: [A, B], metres: 11.02}   # steel
targets: {lead: {height: 1.3, size: 2.0, source: osc}}   # no one else
light: {evenness: off}
seat: [0, -8, 2.4]
"""
EDGES = """(() => { const plan = document.querySelector('.edit [data-map]'), box = plan.getBoundingClientRect();
  return [box.left, box.top, box.width, box.height, ...['left', 'right', 'bottom', 'top'].map((e) => +plan.dataset[e])];
})()"""
SAVED = "document.querySelector('.e-state')?.textContent.includes('as saved')"
NOTE = "document.querySelector('.e-notes').textContent"


def edited_show(folder: Path, first_universe: int, solved: bool = True, seed: int = 5) -> StagedShow:
    """For `panel_shows.SHOWS`."""
    staged = demo_show(folder, first_universe, solved, seed)
    (folder / "stage.yaml").write_text(STAGE)
    return staged


@dataclass
class Editor:
    """The editor on one page."""

    page: Page

    @classmethod
    async def open(cls, page: Page, pointer: Pointer = "mouse") -> Editor:
        """By the buttons that a person has."""
        await page.click_named("tab", "Focus session", pointer)
        await page.click_named("button", "Choose", pointer)
        await page.click_named("button", "Edit the stage", pointer)
        await page.until(SAVED)
        return cls(page)

    async def show(self, kind: str) -> None:
        """One of the kinds above the list; its first thing is chosen then."""
        await self.page.evaluate(
            f"[...document.querySelectorAll('.e-tabs button')].find((b) => b.textContent.startsWith({kind!r})).click()"
        )

    async def choose(self, name: str) -> None:
        """Something in the list."""
        await self.page.evaluate(
            f"[...document.querySelectorAll('.e-items button')].find((b) => b.firstChild.data === {name!r}).click()"
        )

    async def at(self, x: float, y: float) -> Point:
        """The pixels of a place of the stage."""
        left, top, width, height, west, east, south, north = await self.page.evaluate(EDGES)
        return left + width * (x - west) / (east - west), top + height * (north - y) / (north - south)

    async def drag(self, start: Point, end: Point, pointer: Pointer = "mouse") -> None:
        """From one place of the stage to another."""
        await self.page.drag(await self.at(*start), await self.at(*end), steps=12, pointer=pointer)

    async def tap(self, x: float, y: float) -> None:
        """On a place of the stage."""
        await self.page.click_at(await self.at(x, y))

    async def type(self, label: str, text: str) -> None:
        """Into the field of that name, in place of what it holds; the field keeps the keyboard."""
        field = await self.page.named("textbox", label)
        await field.apply("function () { this.scrollIntoView({block: 'center'}); this.focus(); this.select(); }")
        await self.page.call("Input.insertText", text=text)

    async def field(self, label: str) -> dict[str, Any]:
        """value, invalid and the words that describe a field."""
        field = await self.page.named("textbox", label)
        told = await field.apply(
            "function () { return JSON.stringify({ value: this.value, invalid: this.getAttribute('aria-invalid'),"
            " words: document.getElementById(this.getAttribute('aria-describedby')).textContent,"
            " focused: document.activeElement === this }); }"
        )
        return dict(json.loads(told))

    async def save(self, note: str) -> None:
        """Press Save and wait until the editor says so."""
        await self.page.click_named("button", "Save")
        await self.page.until(f"{NOTE}.includes({note!r})", 20.0)

    async def state(self) -> str:
        """What the head says of unsaved changes."""
        return str(await self.page.evaluate("document.querySelector('.e-state').textContent"))
