"""Keys and pads steer by one table of bindings; a stand-in pad moves the target at the speed of its curve, and stops.

The curve is computed here a second time, from its words: no share of it comes from the page's own code.
"""

from __future__ import annotations

import asyncio
import math
from collections.abc import Awaitable, Callable
from pathlib import Path
from statistics import median

import pytest

from tests.system.chromium import CHROMIUM, Page
from tests.system.chromium_pad import Pad
from tests.system.panel_stage import PanelStage, on_stage

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")

Part = Callable[[PanelStage, Pad], Awaitable[None]]
LEAD = "panel.store.target('lead')"
DEAD, EDGE, CURVE, TOP = 0.12, 0.95, 1.8, 4.0
TURNS = 10
# Where the page wants the target, and the moment of each of its turns, for a while.
TRACK = """new Promise((done) => { const rows = [], begun = performance.now(), { hand } = panel;
  const timer = setInterval(() => { if (hand.turned !== rows.at(-1)?.[0]) rows.push([hand.turned, ...hand.wanted]);
    if (performance.now() - begun > SECONDS * 1000) { clearInterval(timer); done(rows); } }, 4); })"""


def share(far: float) -> float:
    """Of the top speed, for a stick pushed so far."""
    return min(1.0, max(0.0, far - DEAD) / (EDGE - DEAD)) ** CURVE


async def speed(page: Page, seconds: float = 1.0) -> tuple[float, float]:
    """Of the hand while it is watched, m/s along x and y: the middle one over any ten of its turns."""
    rows = await page.evaluate(TRACK.replace("SECONDS", str(seconds)))
    tens = zip(rows, rows[TURNS:], strict=False)
    steps = [[(b[axis] - a[axis]) / (b[0] - a[0]) * 1000 for axis in (1, 2)] for a, b in tens]
    return (median(step[0] for step in steps), median(step[1] for step in steps)) if steps else (0.0, 0.0)


async def still(page: Page) -> bool:
    """Whether the hand does not move for a while, once the page has seen what was done to the pad."""
    await page.until("!panel.hand.pushed")
    return await speed(page, 0.3) == (0.0, 0.0)


async def at_rest(stage: PanelStage, pad: Pad) -> None:
    """The target in the middle, the pad let go, the page looked at."""
    await pad.hold({0: 0, 1: 0, 2: 0, 3: 0}, dict.fromkeys(range(17), 0))
    await stage.page.evaluate("(panel.controls.keys.releaseAll(), document.activeElement?.blur(), 1)")
    await stage.page.evaluate("(panel.hand.place(0, 4), 1)")
    await stage.page.until(f"{LEAD}.x === 0 && {LEAD}.y === 4 && !panel.hand.pushed && panel.controls.pad.awake")


async def the_shape_of_a_stick_is_a_round_dead_zone_a_curve_and_an_edge(stage: PanelStage, pad: Pad) -> None:
    sticks = [(x / 10, y / 10) for x in range(-10, 11) for y in range(-10, 11)]
    asked = f"import('/padshape.js').then(({{shape}}) => {list(map(list, sticks))}.map(([x, y]) => shape(x, y)))"
    found = await stage.page.evaluate(asked)
    for (x, y), (sx, sy) in zip(sticks, found, strict=True):
        far = math.hypot(x, y)
        wanted = share(far)
        assert math.hypot(sx, sy) == pytest.approx(wanted, abs=1e-9)
        if wanted:
            assert (sx / wanted, sy / wanted) == pytest.approx((x / far, y / far), abs=1e-9), "the direction is kept"
    odd = "shape(NaN, 0), shape(0.119, 0), safe({dead: 9, top: 'x', stick: 7})"
    odd = f"import('/padshape.js').then(({{shape, safe}}) => [{odd}])"
    nothing, inside, kept = await stage.page.evaluate(odd)
    assert (nothing, inside) == ([0, 0], [0, 0])
    assert (kept["dead"], kept["top"], kept["stick"]) == (0.5, TOP, "left")


async def a_stick_moves_the_target_at_the_speed_of_the_curve_as_seen(stage: PanelStage, pad: Pad) -> None:
    page = stage.page
    await pad.hold({0: 0.08, 1: -0.08})
    assert await still(page), "inside the dead zone"
    for axes, way in [({0: 0.6, 1: 0}, (1, 0)), ({0: 0, 1: -0.6}, (0, 1))]:  # axis 1 is negative away from you
        await pad.hold(axes)
        vx, vy = await speed(page)
        wanted = TOP * share(0.6)
        assert (vx, vy) == pytest.approx((way[0] * wanted, way[1] * wanted), rel=0.05, abs=0.02)
    await page.evaluate("(panel.settings.set('sees', 'upstage'), 1)")
    await pad.hold({0: 0.6, 1: 0})
    assert (await speed(page))[0] == pytest.approx(-TOP * share(0.6), rel=0.05), "turned by half"
    await page.evaluate("(panel.settings.set('sees', 'house'), 1)")
    await pad.hold({0: 0.6}, {4: 1})
    assert (await speed(page))[0] == pytest.approx(0.2 * TOP * share(0.6), rel=0.05), "fine while held"
    await pad.hold({0: 0}, {4: 0})
    assert await still(page)
    heard = await page.evaluate(f"[{LEAD}.x, panel.hand.wanted[0]]")
    assert heard[0] == pytest.approx(heard[1], abs=0.01), "and the bridge has it"


async def buttons_of_a_pad_do_what_the_table_says(stage: PanelStage, pad: Pad) -> None:
    page = stage.page
    await page.evaluate("(panel.controls.light.chooseTime(0), 1)")
    await pad.hold(buttons={1: 1})
    await page.until(f"{LEAD}.level === 0", 3.0)
    await pad.hold(buttons={1: 0, 0: 1})
    await page.until(f"{LEAD}.level === 1", 3.0)
    await pad.hold(buttons={0: 0, 15: 1})
    await asyncio.sleep(0.6)
    assert (await speed(page))[0] == pytest.approx(2.0, rel=0.05), "the cross steers as the arrow keys do"
    await pad.hold(buttons={15: 0})
    assert await still(page)


async def a_pad_that_is_lost_or_a_window_that_is_left_ends_all_movement(stage: PanelStage, pad: Pad) -> None:
    page = stage.page
    await pad.hold({0: 1.0})
    await page.until("panel.hand.pushed")
    await pad.disconnect()
    assert not await page.evaluate("panel.hand.pushed"), "at once, with the event itself"
    assert await still(page)
    assert "Pad lost" in await page.evaluate("document.querySelector('#says').textContent")
    await pad.connect(held={0: 1.0})
    assert await still(page), "a stick that was held over when it came is let go first"
    await pad.hold({0: 0})
    await page.until("panel.controls.pad.awake")
    await pad.hold({0: 1.0})
    await page.until("panel.hand.pushed")
    await page.evaluate("(window.dispatchEvent(new Event('blur')), 1)")
    assert not await page.evaluate("panel.hand.pushed")
    assert await still(page)
    await page.evaluate("(window.dispatchEvent(new Event('focus')), 1)")
    assert await still(page), "until the stick was let go"
    await pad.hold({0: 0})
    await page.until("panel.controls.pad.awake")


async def keys_steer_while_held_and_never_while_somebody_types(stage: PanelStage, pad: Pad) -> None:
    page = stage.page
    await page.key_down("ArrowRight")
    for _ in range(5):
        await page.key_down("ArrowRight", again=True)
    await asyncio.sleep(0.6)
    vx, vy = await speed(page)
    assert (vx, vy) == pytest.approx((2.0, 0.0), rel=0.05, abs=0.01)
    await page.key_up("ArrowRight")
    assert not await page.evaluate("panel.hand.pushed")
    await page.key_down("ArrowUp")
    await page.until("panel.hand.pushed")
    await page.evaluate("(window.dispatchEvent(new Event('blur')), 1)")
    assert not await page.evaluate("panel.hand.pushed"), "a key that comes up elsewhere is never told"
    await page.key_up("ArrowUp")
    await (await page.named("slider", "Level")).focus()
    await page.key_down("ArrowLeft")
    assert not await page.evaluate("panel.hand.pushed"), "the slider has that key"
    await page.key_up("ArrowLeft")
    await page.until(f"{LEAD}.level < 1")
    await page.evaluate("document.activeElement.blur()")
    await page.evaluate("(() => { const field = document.createElement('input'); field.id = 'typed';"
                        " document.querySelector('#follow').append(field); field.focus(); })()")  # fmt: skip
    await page.write("fd")
    await asyncio.sleep(0.4)
    assert await page.evaluate(f"{LEAD}.level > 0.9 && !panel.store.frame.bridge.dark")
    assert await page.evaluate("document.querySelector('#typed').value") == "fd"
    await page.evaluate("document.querySelector('#typed').remove()")
    await page.click_named("tab", "Rig")
    await page.key("d")
    await asyncio.sleep(0.4)
    assert not await page.evaluate("panel.store.frame.bridge.dark"), "keys act on Follow alone"
    await page.click_named("tab", "Follow")


async def keys_and_buttons_are_bound_by_pressing_them_and_a_conflict_is_said(stage: PanelStage, pad: Pad) -> None:
    page = stage.page
    said = "document.querySelector('#keys .said').textContent"
    await page.click_named("button", "Keys and pad")
    await page.click_named("button", "B: key for Bring up")
    await page.key("f")
    assert await page.evaluate(said) == "F was: Fade out. That has no key now."
    await page.named("button", "none: key for Fade out")
    await page.click_named("button", "1: lower: pad button for Bring up")
    await page.until("Boolean(panel.controls.dialog.before)")  # the page has looked at what is down already
    await pad.hold(buttons={6: 1})
    await page.named("button", "7: left trigger: pad button for Bring up")
    await pad.hold({0: 0.6}, {6: 0})
    await page.until("document.querySelector('.pad-panel .figures').textContent.startsWith('stick 60 %')", 3.0)
    await pad.hold({0: 0})
    assert not await page.evaluate("panel.hand.pushed"), "in the dialog nothing is steered"
    await page.click_named("button", "Done")
    await page.go("about:blank")
    await page.go(stage.url)
    await page.until("Boolean(window.panel?.controls && panel.store.frame)", 15.0)
    bound = (
        "[['key', 'bring-up'], ['pad', 'bring-up'], ['key', 'fade-out']].map((b) => panel.controls.bindings.of(...b))"
    )
    assert await page.evaluate(bound) == ["f", 6, None]
    await page.click_named("button", "Keys and pad")
    await page.click_named("button", "All as at first")
    await page.named("button", "B: key for Bring up")
    await page.click_named("button", "Done")


PARTS: tuple[Part, ...] = (
    the_shape_of_a_stick_is_a_round_dead_zone_a_curve_and_an_edge,
    a_stick_moves_the_target_at_the_speed_of_the_curve_as_seen,
    buttons_of_a_pad_do_what_the_table_says,
    a_pad_that_is_lost_or_a_window_that_is_left_ends_all_movement,
    keys_steer_while_held_and_never_while_somebody_types,
    keys_and_buttons_are_bound_by_pressing_them_and_a_conflict_is_said,
)


def test_keys_and_pad(tmp_path: Path) -> None:
    """Each part is a claim of its own; they share a stage, as it is slow to set up."""

    async def test(stage: PanelStage) -> None:
        pad = await Pad(stage.page).connect()
        for part in PARTS:
            await at_rest(stage, pad)
            await part(stage, pad)
        assert stage.page.errors == []

    on_stage(tmp_path, test, universe=30430, page={"pad": True})
