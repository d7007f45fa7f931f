"""The stage for tests of the panel: what it says of beams and places is so, and the three processes hear each other."""

from __future__ import annotations

import signal
from pathlib import Path

import pytest

from bridge.show.load import load
from tests.system.chromium import CHROMIUM
from tests.system.panel_shows import demo_show, many_show
from tests.system.panel_stage import PanelStage, on_stage

browser = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")


@pytest.mark.parametrize("heads", [12, 48])
def test_a_staged_show_is_valid_and_its_poses_are_near_the_truth_and_not_on_it(tmp_path: Path, heads: int) -> None:
    staged = (demo_show if heads == 12 else many_show)(tmp_path / "show", 30210)
    show = load(staged.folder)
    assert (len(show.fixtures), len(show.poses)) == (heads, heads)
    assert {fixture.universe for fixture in show.fixtures} == {30210, 30211}
    for name, pose in show.poses.items():
        off = [abs(a - b) for a, b in zip(pose.position, staged.truth.fixtures[name].position, strict=True)]
        assert 0 < max(off) < 0.03
    if heads == 48:
        assert len({fixture.name[:12] for fixture in show.fixtures}) == 4, "names that begin alike"
        assert len({fixture.name[-8:] for fixture in show.fixtures}) == 24, "and end alike"


@browser
def test_beams_are_measured_where_they_are_told_to_be(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        stage.say("/target/lead/position", 2.0, 3.0)
        found = await stage.lit_at(2.0, 3.0)
        assert len(found) == 12
        assert max(found.values()) > 0.001, "poses with errors: no beam is exactly there"
        assert min(stage.misses(3.0, 3.0).values()) > 0.3, "and a metre beside, nothing is"
        # from its lens at -6, -12, 9 past 2, 3, 1.3 on to the floor: 9 / (9 - 1.3) of the way
        assert stage.landing("foh-1") == pytest.approx((3.35, 5.53, 0.0), abs=0.3)
        stage.say("/dark", 1)
        await stage.dark()
        assert max(stage.levels().values()) < 0.02
        assert stage.misses(2.0, 3.0) == {}, "what is dark is nowhere"

    on_stage(tmp_path, test, universe=30212, with_browser=False)


@browser
def test_the_page_is_up_and_hears_the_daemon(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        stage.say("/target/lead/position", -3.0, 5.0)
        await stage.page.until("panel.store.frame.targets[0].x === -3")
        other = await stage.open("Ann", width=390, height=844)
        await other.until("panel.store.frame.pages.includes('Ann')")
        assert len(stage.pages) == 2
        assert stage.page.errors == []
        assert other.errors == []

    on_stage(tmp_path, test, universe=30214)


@browser
def test_48_heads_a_view_and_no_light_before_arming(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        stage.say("/target/lead/position", 1.0, 2.0)
        await stage.page.until("panel.store.frame.targets[0].x === 1")
        assert set(stage.levels().values()) == {0.0}
        stage.say("/arm", 1)
        await stage.lit_at(1.0, 2.0)
        assert len(stage.levels()) == 48
        assert stage.page.errors == []

    on_stage(tmp_path, test, show="many", armed=False, universe=30216, view=True)


@browser
def test_panel_and_daemon_may_be_killed_and_started_again(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        stage.say("/target/lead/position", 2.0, 3.0)
        await stage.lit_at(2.0, 3.0)
        await stage.panel.end(signal.SIGKILL)
        assert await stage.health() == {}
        await stage.page.until("!panel.link.open")
        assert len(stage.misses(2.0, 3.0)) == 12, "the light does not care"
        await stage.panel.start()
        await stage.page.until("panel.link.open")
        await stage.daemon.end(signal.SIGKILL)
        with pytest.raises(AssertionError, match="run does not run"):
            stage.daemon.check()
        await stage.page.until("panel.store.frame.age > 500")
        await stage.daemon.start()
        await stage.page.until("panel.store.frame.age < 500")
        await stage.lit_at(2.0, 3.0)
        # the only errors are of sockets that found nobody while the panel was away
        assert all("WebSocket" in error or "ERR_CONNECTION" in error for error in stage.page.errors)

    on_stage(tmp_path, test, universe=30218)
