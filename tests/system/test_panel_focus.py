"""A focus session on the panel by clicks alone: real Chromium, panel, daemon, and a simulated venue that measures."""

from __future__ import annotations

from pathlib import Path

import pytest

from bridge.show.load import load
from bridge.venue.calibration import calibration
from tests.system.chromium import CHROMIUM
from tests.system.focus_person import Person
from tests.system.panel_stage import PanelStage, on_stage

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
HEADS, MARKS = ("foh-2", "mid-3"), ("A", "B", "C", "D")


async def choose(stage: PanelStage, heads: tuple[str, ...], marks: tuple[str, ...]) -> None:
    """In the list: these heads and marks, the first of each in hand."""
    page = stage.page
    hand = Person(stage, page)
    await page.click_named("tab", "Focus session")
    await hand.press_until("Choose", "!document.querySelector('.f-list').hidden", 2.0)
    await page.click_named("button", heads[0])
    await page.click_named("button", "Only the one in hand of the heads")
    await page.click_named("button", marks[0])
    await page.click_named("button", "Only the one in hand of the marks")
    for name in (*heads[1:], *marks[1:]):
        await page.click_named("checkbox", f"{name} is chosen")
    await hand.press_until("Aim", "!document.querySelector('.f-pad').parentElement.hidden", 2.0)


def test_a_person_sights_two_heads_by_clicks_and_the_venue_measures_them(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = stage.page
        await choose(stage, HEADS, MARKS)
        assert await page.evaluate("document.querySelector('.f-far').textContent") == "0 of 8"
        person = Person(stage, page, hand_m=0.01)
        for number in range(len(HEADS) * len(MARKS)):
            await person.sight(aim=number == 0)
        assert set(person.left) == {(head, mark) for head in HEADS for mark in MARKS}
        assert max(person.left.values()) < 0.05
        sighted = {(s.fixture, s.mark) for s in load(stage.staged.folder).sightings}
        assert sighted == set(person.left)

        await person.press("Solve")
        await page.until("panel.store.scene.heads.filter((head) => head.solved).length === 2", 60.0)
        errors = calibration(load(stage.staged.folder), stage.staged.truth)["fixtures"]
        assert set(errors) == set(HEADS)
        assert max(one["rms_m"] for one in errors.values()) < 0.06, errors
        await page.until("document.querySelectorAll('.f-poses tbody tr').length === 2", 45.0)
        assert page.errors == []

    on_stage(tmp_path, test, solved=False, universe=30220)


def test_a_check_walk_is_held_and_confirmed(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = stage.page
        person = Person(stage, page)
        await person.press("Focus session", "tab")
        await person.press_until("Walk", "!document.querySelector('.f-walk').hidden", 3.0)
        held = await (await page.named("button", "Check walk B")).middle()
        at = stage.staged.show.stage.marks["B"].at
        assert at is not None
        await page.press(held)
        await stage.until(
            lambda: len(m := stage.misses(*at)) == 12 and max(m.values()) < 0.1,
            15.0,
            lambda: f"all beams on B; seen {stage.misses(*at)}",
        )
        await page.until("document.querySelector('.f-walk .f-told').textContent.includes('12 of 12')", 15.0)
        await page.lift(held)
        await stage.dark(5.0)
        await person.press("Confirm")
        await page.until("document.querySelector('.f-walk .f-told').textContent.startsWith('Confirmed at B')", 15.0)
        assert "mark: B" in (stage.staged.folder / "poses.yaml").read_text()
        assert page.errors == []

    on_stage(tmp_path, test, universe=30222)


def test_only_the_one_in_hand_is_lit_and_leaving_gives_everything_back(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = stage.page
        person = Person(stage, page)
        stage.say("/target/lead/position", 1.0, 3.0)
        await stage.lit_at(1.0, 3.0, within_s=15.0)
        await person.press("Focus session", "tab")
        await person.press("Near")
        await page.until("panel.focusSession.frame().in_hand", 10.0)
        await person.press("Only this one lit", "switch")
        await person.press("Make dark")
        await stage.until(
            lambda: [n for n, level in stage.levels().items() if level > 0.02] == ["foh-1"],
            15.0,
            lambda: f"only foh-1 lit; seen {stage.levels()}",
        )
        await person.press("Follow", "tab")
        await person.press("Give back")
        stage.say("/target/lead/position", 1.0, 3.0)
        await stage.lit_at(1.0, 3.0, within_s=15.0)
        assert await page.evaluate("panel.store.frame.heads.some((head) => head.in_hand)") is False
        assert page.errors == []

    on_stage(tmp_path, test, universe=30224)


def test_an_untrusted_pose_is_taken_at_a_yes_and_the_poses_before_come_back_at_a_yes(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page, poses = stage.page, stage.staged.folder / "poses.yaml"
        person = Person(stage, page)
        before = poses.read_text()
        poses.with_name("poses.previous.yaml").write_text(before)
        poses.write_text(before.replace("  mid-1:\n", "  mid-1:\n    trusted: false\n"))
        await person.press("Focus session", "tab")
        await person.press_until("Poses", "!document.querySelector('.f-poses').hidden", 3.0)
        await person.press("Take it anyway: mid-1")
        await person.press("Leave it")
        assert "accepted" not in poses.read_text()
        await person.press("Take it anyway: mid-1")
        await person.press("Take it")
        await page.until("panel.store.news.some((one) => one.what === 'accepted' && one.fixture === 'mid-1')", 15.0)
        await page.until("panel.store.scene.heads.find((head) => head.name === 'mid-1').on_disk.accepted", 15.0)
        assert load(stage.staged.folder).poses["mid-1"].accepted == "operator@127.0.0.1"
        await page.until("!document.querySelector('.f-untrusted')", 5.0)
        await person.press("Back to the poses before")
        await person.press("Go back")
        await page.until("panel.store.news.some((one) => one.what === 'back')", 15.0)
        assert "trusted: false" not in poses.read_text()
        assert page.errors == []

    on_stage(tmp_path, test, universe=30226)
