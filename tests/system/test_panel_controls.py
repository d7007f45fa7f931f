"""What the other hand does beside the stage: sliders, fades, heads, everything dark; losses are told.

Real daemon, panel and Chromium; what counts is what the bridge says in its feed and what the venue sees.
"""

from __future__ import annotations

import asyncio
import signal
import time
from collections.abc import Awaitable, Callable
from itertools import pairwise
from pathlib import Path

import pytest

from tests.system.chromium import CHROMIUM
from tests.system.panel_stage import PanelStage, on_stage

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")

Part = Callable[[PanelStage], Awaitable[None]]
LEAD = "panel.store.target('lead')"
# Counts what the page sends, by the last word of the address.
COUNT = """(() => { const real = panel.link.osc.bind(panel.link); window.sent = [];
  panel.link.osc = (address, ...args) => {
    sent.push([performance.now(), address, args]);
    return real(address, ...args);
  };
})()"""
# When the banner comes and goes, by the wall clock.


async def tell(stage: PanelStage, address: str, *args: float) -> None:
    """A message in the page's name, past its controls: a target obeys one sender."""
    assert await stage.page.evaluate(f"panel.link.osc({address!r}, ...{list(args)})")


async def fresh(stage: PanelStage) -> None:
    """As at the beginning, whatever the part before has left."""
    await tell(stage, "/dark", 0)
    for address, value in [("level", 1.0), ("size", 8.0), ("height", 1.3)]:
        await tell(stage, f"/target/lead/{address}", value)
    await stage.page.resize(1280, 800)
    await stage.page.evaluate("document.activeElement?.blur()")


async def follow_at(stage: PanelStage, x: float, y: float) -> None:
    """The target stands there, and the page knows."""
    await tell(stage, "/target/lead/position", x, y)
    await stage.page.until(f"{LEAD}?.x === {x} && {LEAD}.y === {y}")


async def level_size_and_height_reach_the_bridge_live_and_the_sliders_follow_what_it_says(stage: PanelStage) -> None:
    page = stage.page
    await follow_at(stage, 1.0, 3.0)
    await page.until("panel.store.lit('lead')")
    await tell(stage, "/target/lead/level", 0.9)  # a thumb at the very end cannot be gripped in its middle
    await page.until(f"Math.abs({LEAD}.level - 0.9) < 0.001", 20.0)
    await page.until("document.querySelector('[aria-label=\"Level\"]').value === '90'", 8.0)
    reached = await page.slide("Level", 40)  # by a mouse that drags
    assert reached == pytest.approx(40, rel=0.1)
    await page.until(f"Math.abs({LEAD}.level * 100 - {reached}) < 1.1", 8.0)
    for name, key, wanted in [("Spot size", "size", 1.5), ("Height", "height", 0.8)]:
        slider = await page.named("slider", name)
        await slider.apply("function (to) { this.value = to; this.dispatchEvent(new Event('input')); }", wanted)
        await page.until(f"Math.abs({LEAD}.{key} - {wanted}) < 0.002", 8.0)
    await stage.until(lambda: 0.3 < max(stage.levels().values()) < 0.5, 3.0, lambda: str(stage.levels()))
    await page.click_named("button", "tight")
    await page.until(f"Math.abs({LEAD}.size - 0.8) < 0.001", 8.0)
    assert await (await page.named("button", "tight")).on()
    await asyncio.sleep(0.6)
    await tell(stage, "/target/lead/level", 0.7)
    level = await page.named("slider", "Level")
    await page.until("document.querySelector('[aria-label=\"Level\"]').value === '70'", 8.0)
    assert await level.apply("function () { return this.getAttribute('aria-valuetext'); }") == "70 %"


async def a_slider_in_a_hand_sends_at_most_60_messages_a_second_and_the_last_value_for_certain(
    stage: PanelStage,
) -> None:
    page = stage.page
    await follow_at(stage, 1.0, 3.0)
    await page.evaluate(COUNT)
    await page.evaluate(
        """new Promise((done) => { const range = document.querySelector('[aria-label="Level"]'); let step = 0;
        const timer = setInterval(() => { step += 1; range.value = String(step % 100);
          range.dispatchEvent(new Event('input')); if (step === 250) { clearInterval(timer); done(1); } }, 4); })"""
    )
    await asyncio.sleep(0.2)
    sent = [one for one in await page.evaluate("sent") if one[1].endswith("/level")]
    took_s = (sent[-1][0] - sent[0][0]) / 1000
    assert 10 < len(sent) <= 60 * took_s + 2
    assert min(b[0] - a[0] for a, b in pairwise(sent)) > 15.0
    assert sent[-1][2] == [0.5]


async def bring_up_and_fade_out_over_the_chosen_time_with_a_word_for_each(stage: PanelStage) -> None:
    page = stage.page
    word = "document.querySelector('.light-state .word').textContent"
    await follow_at(stage, 1.0, 3.0)
    await stage.lit_at(1.0, 3.0, within_s=20.0)
    await page.until(f"{word} === 'Lit'")
    await page.slide("Level", 60)
    wanted = await page.evaluate("document.querySelector('[aria-label=\"Level\"]').value / 100")
    await page.click_named("button", "2 s")
    began = time.monotonic()
    await page.click_named("button", "Fade out")
    await page.until(f"{word} === 'Fading out'", 1.5)
    await page.until(f"{LEAD}.level === 0", 6.0)
    assert 1.8 < time.monotonic() - began < 3.5
    await stage.dark()
    await page.until(f"{word} === 'Dark'", 8.0)
    await page.click_named("button", "0.5 s")
    await page.click_named("button", "Bring up")
    await page.until(f"Math.abs({LEAD}.level - {wanted}) < 0.002", 8.0)
    await page.until(f"{word} === 'Lit'", 8.0)
    await stage.lit_at(1.0, 3.0, within_s=20.0)


async def everything_dark_is_on_at_one_press_and_cleared_by_two_within_four_seconds(stage: PanelStage) -> None:
    page = stage.page
    await follow_at(stage, 1.0, 3.0)
    await stage.lit_at(1.0, 3.0, within_s=20.0)
    dark = await page.named("switch", "Everything dark")
    on = "panel.store.frame.bridge.dark === true"
    await dark.click()
    await page.until(on, 8.0)
    await stage.dark()
    assert await dark.on()
    await asyncio.sleep(0.5)
    await dark.click()
    await asyncio.sleep(4.3)
    await dark.click()
    await asyncio.sleep(0.3)
    assert await page.evaluate(on), "once, and once more too late: nothing is cleared"
    await dark.click()
    await page.until("panel.store.frame.bridge.dark === false", 8.0)
    await stage.lit_at(1.0, 3.0, within_s=20.0)
    await page.click_named("switch", "Everything dark")
    await page.click_named("switch", "Everything dark")
    await page.until(on, 8.0)
    # by keyboard: on the switch itself, and by its key
    await asyncio.sleep(0.5)
    await dark.focus()
    await page.key("Enter")
    await page.key(" ")
    await page.until("panel.store.frame.bridge.dark === false", 8.0)
    await page.evaluate("document.activeElement.blur()")
    await page.key("d")
    await page.until(on, 8.0)
    await stage.dark()


async def heads_go_out_and_come_back_are_held_and_handed_over_and_a_crew_is_chosen(stage: PanelStage) -> None:
    page = stage.page
    await follow_at(stage, 1.0, 3.0)
    await page.until("panel.store.lit('lead')")
    first = "truss-east-upper-01"
    head = f"panel.store.frame.heads[panel.store.scene.heads.findIndex((h) => h.name === '{first}')]"
    await page.click_named("button", f"Out {first}")
    await page.until(f"{head}.out && {head}.level === 0", 8.0)
    assert await page.evaluate(f"document.querySelector('[data-head=\"{first}\"] .word').textContent") == "Out"
    await stage.until(lambda: stage.levels()[first] == 0, 3.0, lambda: str(stage.levels()[first]))
    await page.click_named("button", f"Out {first}")
    await page.until(f"!{head}.out", 8.0)
    await page.until("panel.store.lit('lead')")
    await page.click_named("button", f"Hold {first}")
    await page.until(f"{head}.held", 8.0)
    await page.click_named("button", f"Hold {first}")
    await page.until(f"!{head}.held", 8.0)
    chooser = await page.named("combobox", f"{first} follows")
    await chooser.apply("function () { this.value = 'solo'; this.dispatchEvent(new Event('change')); }")
    await page.until(f"{head}.target === 'solo'", 8.0)
    await page.click_named("button", "Choose a crew")
    await page.click_named("button", f"choose {first}")
    await page.click_named("button", f"chosen {first.replace('01', '02')}")
    await page.click_named("button", "Give 47 to")
    await page.until(f"{head}.target === 'lead' && panel.store.crew('lead').length === 47", 8.0)
    await page.click_named("button", "Hold all")
    await page.until("panel.store.crew('lead').every((h) => h.held)", 8.0)
    await page.click_named("button", "Hold all")
    await page.until("panel.store.crew('lead').every((h) => !h.held)", 8.0)


async def names_of_48_heads_are_whole_at_every_size_and_only_the_list_scrolls(stage: PanelStage) -> None:
    page = stage.page
    for width, height in [(390, 844), (820, 1180), (1280, 800), (1920, 1080)]:
        await page.resize(width, height)
        await asyncio.sleep(0.3)
        names = await page.evaluate(
            "[...document.querySelectorAll('.head .name')].map((e) => [e.textContent,"
            " e.scrollWidth <= e.parentElement.clientWidth + 1 && getComputedStyle(e).textOverflow === 'clip'])"
        )
        assert len({name for name, _ in names}) == 48
        assert all(whole for _, whole in names)
        page_scrolls, side_scrolls = await page.evaluate(
            "[document.documentElement, document.querySelector('.side')]"
            ".map((e) => e.scrollHeight > e.clientHeight + 1)"
        )
        assert not page_scrolls
        assert side_scrolls == (width == 390), "upright and small, the side scrolls; else the list alone"
        for name in ("Level", "Bring up", "Fade out", "Everything dark"):
            role = {"Level": "slider", "Everything dark": "switch"}.get(name, "button")
            left, top, right, bottom = await (await page.named(role, name)).box()
            assert min(left, top, width - right, height - bottom) >= 0, f"{name} at {width}"


async def areas_and_floors_are_switched_from_the_page(stage: PanelStage) -> None:
    page = stage.page
    await page.click_named("button", "Stage")
    thrust = await page.named("switch", "thrust")
    assert not await thrust.on()
    await thrust.click()
    await page.until("panel.store.frame.areas.thrust === true", 8.0)
    assert await thrust.on()
    await page.click_named("switch", "first-rows")
    await page.until("panel.store.frame.no_light['first-rows'] === false", 8.0)
    await page.click_named("button", "Raise riser")
    await page.until("Math.abs(panel.store.frame.floors.riser - 0.7) < 0.001", 8.0)


async def a_second_finger_presses_while_the_first_holds_the_stage(stage: PanelStage) -> None:
    page = stage.page
    await follow_at(stage, 1.0, 3.0)
    await stage.lit_at(1.0, 3.0, within_s=20.0)
    await page.resize(1280, 800, touch=True)
    hand = await stage.plan_at(1.0, 3.0)
    moved = (hand[0] + 30, hand[1])
    for role, name, seen in [
        ("button", "Fade out", f"{LEAD}.level === 0"),
        ("switch", "Everything dark", "panel.store.frame.bridge.dark"),
    ]:
        other = await (await page.named(role, name)).middle()
        await page.fingers("touchStart", [hand])
        await page.fingers("touchMove", [moved])
        await page.fingers("touchStart", [moved, other])
        assert await page.evaluate("panel.hand.gripped"), "the first finger still holds the target"
        if role == "switch":  # at once, when the finger comes down
            await page.until(seen, 8.0)
        await page.fingers("touchEnd", [])
        await page.until(seen, 8.0)
    await page.resize(1280, 800)


async def signs_of_the_strip_keep_their_places_and_none_flickers(stage: PanelStage) -> None:
    page = stage.page
    boxes = (
        "[...document.querySelectorAll('#signs li, #dark, [data-plan]')].map((e) => e.getBoundingClientRect())"
        ".map((b) => [b.left, b.top, b.width, b.height].map(Math.round))"
    )
    locked = "document.querySelector('[data-sign=lock]').checkVisibility({ visibilityProperty: true })"
    for width, height in [(390, 844), (1280, 800)]:
        await page.resize(width, height)
        assert not await page.evaluate(locked)
        before = await page.evaluate(boxes)
        await tell(stage, "/lock", 1)
        await page.until(locked)
        assert await page.evaluate("document.querySelector('[data-sign=lock] .word').textContent") == "Locked"
        assert await page.evaluate(boxes) == before
        await tell(stage, "/lock", 0)
        await page.until(f"!{locked}")
    shown = await page.evaluate(
        """import('/statussigns.js').then(({ Steady, SIGNS }) => {
          const steady = new Steady(), at = (shape, word, small, ms) => [...steady.show([shape, word, small], ms)];
          const over = { universe: 1, word: 'overruled', other: 'Desk', priority: 150 };
          return [
            at('dot', 'Inside', '1 ms', 0), at('dot', 'Inside', '2 ms', 100),
            at('triangle', 'Outside', '', 120), at('dot', 'Inside', '', 140), at('triangle', 'Outside', '', 300),
            at('dot', 'Inside', '', 320), at('dot', 'Inside', '', 619), at('dot', 'Inside', '', 620),
            SIGNS.overruled({ frame: { universes: [over] } })];
        })"""
    )
    words = [row[1] for row in shown]
    assert words == ["Inside", "Inside", "Outside", "Outside", "Outside", "Outside", "Outside", "Inside", "Overruled"]
    assert [row[2] for row in shown[:2]] == ["1 ms", "1 ms"], "figures change four times a second"
    assert shown[-1][2] == "by Desk"


MANY = (
    level_size_and_height_reach_the_bridge_live_and_the_sliders_follow_what_it_says,
    heads_go_out_and_come_back_are_held_and_handed_over_and_a_crew_is_chosen,
    names_of_48_heads_are_whole_at_every_size_and_only_the_list_scrolls,
    areas_and_floors_are_switched_from_the_page,
)
FEW = (
    a_slider_in_a_hand_sends_at_most_60_messages_a_second_and_the_last_value_for_certain,
    bring_up_and_fade_out_over_the_chosen_time_with_a_word_for_each,
    everything_dark_is_on_at_one_press_and_cleared_by_two_within_four_seconds,
    a_second_finger_presses_while_the_first_holds_the_stage,
    signs_of_the_strip_keep_their_places_and_none_flickers,
)


@pytest.mark.parametrize(("show", "parts", "universe"), [("many", MANY, 30400), ("demo", FEW, 30410)], ids=["48", "12"])
def test_controls(tmp_path: Path, show: str, parts: tuple[Part, ...], universe: int) -> None:
    """Each part is a claim of its own; they share a stage, as it is slow to set up."""

    async def test(stage: PanelStage) -> None:
        for part in parts:
            await fresh(stage)
            await part(stage)
        assert stage.page.errors == []

    on_stage(tmp_path, test, show=show, universe=universe)


def test_after_every_loss_the_controls_work_again_by_themselves(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = stage.page
        await follow_at(stage, 1.0, 3.0)
        for loss in (stage.daemon, stage.panel):
            await loss.end(signal.SIGKILL)
            await page.until("!document.querySelector('#banner').hidden", 8.0)
            await loss.start()
            await page.until("document.querySelector('#banner').hidden && panel.link.open", 60.0)
            await page.until("document.querySelector('[data-sign=bridge] .word').textContent === 'Bridge'", 8.0)
        number = await page.evaluate("panel.store.me.id")
        assert await page.drop_sockets() >= 1
        await page.until(f"panel.store.me.id !== {number} && document.querySelector('#banner').hidden", 8.0)
        await page.slide("Level", 50)
        await page.until(f"Math.abs({LEAD}.level - 0.5) < 0.011", 8.0)

    on_stage(tmp_path, test, universe=30420)
