"""The hand of a focus session: near, and left is left, with heads that hang as nobody knows. The truth: the venue."""

from __future__ import annotations

import asyncio
import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from bridge.errors import Refused
from bridge.panel.focus_asks import FocusAsks
from bridge.rig.fixture import Pose
from bridge.show.load import load
from bridge.show.model import Show
from bridge.solve.measurements import Sighting
from bridge.venue.bridge_process import DEMO_SHOW
from bridge.venue.invent import invent
from bridge.venue.kinematics import Hangs

SHOW = load(DEMO_SHOW)
PAGE: Any = object()


class Bridge:
    """A panel's link, feed and folder, with a bridge behind that does at once what it is told, and true heads."""

    def __init__(self, seed: int, show: Show = SHOW) -> None:
        self.truth = invent(show, seed)
        self.folder = SimpleNamespace(show=show, poses={})
        heads = {f.name: ("sighting", 0.0, 45.0, 0.2) for f in show.fixtures}
        self.heard = SimpleNamespace(rows=SimpleNamespace(heads=heads, floors={}))
        self.sent: list[tuple[str, tuple[Any, ...]]] = []
        self.asks = FocusAsks(self)  # type: ignore[arg-type]

    def send(self, page: object, address: str, args: tuple[Any, ...]) -> None:
        self.sent.append((address, args))
        _, _, name, what = address.split("/")
        pan, tilt = self.heard.rows.heads[name][1:3]
        if what == "point":
            pan, tilt = args
        elif what == "nudge":
            pan, tilt = pan + args[0], tilt + args[1]
        self.heard.rows.heads[name] = ("sighting", pan, tilt, 0.2)

    def ask(self, what: str, head: str, **data: Any) -> dict[str, Any]:
        return asyncio.run(self.asks.table[what](PAGE, {"head": head, **data}))  # type: ignore[arg-type]

    def spot(self, head: str, height: float = 0.0) -> np.ndarray:
        """Where the true beam meets a level, m."""
        _, pan, tilt, _ = self.heard.rows.heads[head]
        start, ray = Hangs.of([self.truth.fixtures[head]]).beam(np.radians([pan]), np.radians([tilt]))
        return np.asarray((start + ray * ((height - start[:, 2:]) / ray[:, 2:]))[0, :2])

    def record(self, head: str, mark: str) -> None:
        """Put the true beam on the mark, by Newton's method, and keep it."""
        for _ in range(30):
            _, pan, tilt, level = self.heard.rows.heads[head]
            gap = np.array(self.truth.marks[mark][:2]) - self.spot(head)
            columns = []
            for d_pan, d_tilt in ((0.01, 0.0), (0.0, 0.01)):
                self.heard.rows.heads[head] = ("", pan + d_pan, tilt + d_tilt, level)
                columns.append((self.spot(head) - (np.array(self.truth.marks[mark][:2]) - gap)) / 0.01)
            step = np.clip(np.linalg.solve(np.array(columns).T, gap), -10, 10)
            self.heard.rows.heads[head] = ("", pan + float(step[0]), tilt + float(step[1]), level)
        assert float(np.hypot(*(np.array(self.truth.marks[mark][:2]) - self.spot(head)))) < 1e-3
        _, pan, tilt, _ = self.heard.rows.heads[head]
        show = self.folder.show
        fresh = (*show.sightings, Sighting(head, mark, pan, tilt))
        self.folder.show = Show(show.path, show.name, show.fixtures, show.stage, show.network, sightings=fresh)


def on_floor(head: str, bridge: Bridge) -> list[str]:
    return [name for name, at in bridge.truth.marks.items() if at[2] == 0.0]


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("head", ["foh-1", "mid-2", "back-3"])
def test_one_finger_on_the_plan_makes_near_near_and_left_left(seed: int, head: str) -> None:
    bridge = Bridge(seed)
    at = bridge.spot(head)
    assert bridge.ask("shown", head, at=[float(at[0]) + 0.3, float(at[1]) - 0.2])["by"] == "shown"
    mark = on_floor(head, bridge)[0]
    assert bridge.ask("near", head, mark=mark)["by"] == "shown"
    assert bridge.sent[-1][0] == f"/sight/{head}/point"
    assert math.dist(bridge.spot(head), bridge.truth.marks[mark][:2]) < 2.0
    for dx, dy in ((-0.2, 0.0), (0.0, 0.2), (0.2, 0.0), (0.0, -0.2)):
        before = bridge.spot(head)
        bridge.ask("nudge", head, dx=dx, dy=dy)
        moved = bridge.spot(head) - before
        assert math.dist(moved, (dx, dy)) < 0.06, (seed, head, moved)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_after_two_sightings_near_leaves_only_a_nudge(seed: int) -> None:
    bridge = Bridge(seed)
    marks = on_floor("foh-2", bridge)
    for mark in marks[:2]:
        bridge.record("foh-2", mark)
    for mark in marks[2:4]:
        assert bridge.ask("near", "foh-2", mark=mark)["by"] == "sightings"
        assert math.dist(bridge.spot("foh-2"), bridge.truth.marks[mark][:2]) < 0.5


def test_which_way_it_went_tells_how_the_base_is_turned() -> None:
    for seed in (1, 2, 3):
        bridge = Bridge(seed)
        before = bridge.spot("foh-1")
        bridge.ask("try", "foh-1")
        way = math.degrees(math.atan2(*(bridge.spot("foh-1") - before)[::-1]))
        assert bridge.ask("went", "foh-1", way=45.0 * round(way / 45.0))["by"] == "shown"
        bridge.ask("near", "foh-1", mark="A")
        before = bridge.spot("foh-1")
        bridge.ask("nudge", "foh-1", dx=-0.2, dy=0.0)
        moved = bridge.spot("foh-1") - before
        assert abs(math.degrees(math.atan2(moved[1], -moved[0]))) < 35


def test_without_a_place_in_the_plot_three_fingers_do() -> None:
    fixtures = tuple(f.__class__(**{**f.__dict__, "at": None, "at_sigma": None}) for f in SHOW.fixtures)
    show = Show(SHOW.path, SHOW.name, fixtures, SHOW.stage, SHOW.network)
    bridge = Bridge(1)
    bridge.folder.show = show
    with pytest.raises(Refused, match="show where its beam is"):
        bridge.ask("nudge", "mid-1", dx=0.1, dy=0.0)
    with pytest.raises(Refused, match="Point it by numbers"):
        bridge.ask("near", "mid-1", mark="A")
    assert bridge.sent == []
    for pan, tilt in ((0.0, 30.0), (40.0, 35.0), (-40.0, 25.0)):
        bridge.heard.rows.heads["mid-1"] = ("sighting", pan, tilt, 0.2)
        bridge.ask("shown", "mid-1", at=[float(v) for v in bridge.spot("mid-1")])
    before = bridge.spot("mid-1")
    bridge.ask("nudge", "mid-1", dx=0.3, dy=0.1)
    assert math.dist(bridge.spot("mid-1") - before, (0.3, 0.1)) < 0.06


def test_a_solved_head_is_aimed_by_the_bridge_and_nudged_by_its_pose() -> None:
    bridge = Bridge(4)
    head = bridge.truth.fixtures["foh-3"]
    bridge.folder.poses = {"foh-3": Pose(head.position, head.rotation)}
    assert bridge.ask("near", "foh-3", mark="B") == {"by": "solved"}
    assert bridge.sent == [("/sight/foh-3/near", ("B",))]
    before = bridge.spot("foh-3")
    bridge.ask("nudge", "foh-3", dx=0.05, dy=0.0)
    assert math.dist(bridge.spot("foh-3") - before, (0.05, 0.0)) < 0.005


def test_what_was_shown_ends_with_the_next_pose_and_with_unlearn() -> None:
    bridge = Bridge(4)
    bridge.ask("shown", "foh-3", at=[1.0, 2.0])
    assert bridge.ask("hangs", "foh-3")["by"] == "shown"
    assert bridge.ask("unlearn", "foh-3")["by"] == "plot"
    bridge.ask("shown", "foh-3", at=[1.0, 2.0])
    bridge.folder.poses = {"foh-3": Pose((2.0, -12.0, 9.0), (0.0, 0.0, 0.0, 1.0))}
    assert bridge.ask("hangs", "foh-3")["by"] == "solved"


@pytest.mark.parametrize(
    ("what", "data"),
    [
        ("nudge", {"head": "foh-1", "dx": "left", "dy": 0}),
        ("nudge", {"head": "foh-1", "dx": math.nan, "dy": 0}),
        ("nudge", {"head": "foh-1", "dx": True, "dy": 0}),
        ("near", {"head": "nobody", "mark": "A"}),
        ("shown", {"head": "foh-1", "at": "here"}),
        ("went", {"head": "foh-1", "way": 90}),
    ],
)
def test_what_makes_no_sense_is_refused(what: str, data: dict[str, Any]) -> None:
    bridge = Bridge(1)
    with pytest.raises(Refused):
        bridge.ask(what, **data)
    assert bridge.sent == []
