"""Figures of the panel's pages themselves: first paint, octets, and what axe-core finds on every screen."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tests.system.axe import violations
from tests.system.panel_stage import panel_stage

SIZES = ((390, 844), (820, 1180), (1280, 800), (1920, 1080))
TABS = ("Follow", "Focus session", "Rig")


@dataclass(frozen=True)
class Paint:
    """First contentful paint, first drawing of the plan (ms after the navigation began), octets and files fetched."""

    paint_ms: float
    plan_ms: float
    octets: int
    files: int


async def paint(folder: Path, universe: int) -> Paint:
    """A page opened for the first time by a new person, 48 heads, the browser already running."""
    async with panel_stage(folder, show="many", universe=universe) as stage:
        page = await stage.open("First")
        first, plan = await page.first_paint_ms(), await page.first_picture_ms("[data-plan]")
        return Paint(first, plan, page.transferred(), len(page.octets))


async def screens(folder: Path, universe: int) -> list[str]:
    """What axe-core finds on every tab at every size."""
    found: list[str] = []
    async with panel_stage(folder, show="many", universe=universe) as stage:
        for width, height in SIZES:
            await stage.page.resize(width, height)
            for tab in TABS:
                await stage.page.click_named("tab", tab)
                found += [f"{tab} {width}x{height}: {line}" for line in await violations(stage.page)]
    return found
