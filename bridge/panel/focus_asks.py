"""What the screen Focus session asks: aim near a mark, nudge as seen on stage, and learn how a head hangs meanwhile."""

from __future__ import annotations

import asyncio
import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from bridge.errors import Refused
from bridge.geometry.areas import Polygon
from bridge.geometry.stage import Point3
from bridge.panel.asks import Answer
from bridge.panel.beams import Beams
from bridge.panel.hand_pose import Knowledge, Seen, Went, hand_pose
from bridge.panel.heard import News
from bridge.panel.pages import Page
from bridge.panel.panel import Panel
from bridge.panel.solving import Solving
from bridge.rig.fixture import Fixture, Pose
from bridge.rig.rig import Rig

SIGHTED_M, SHOWN_M = 0.06, 0.35
"""How well a beam sits on its mark, and how well a finger shows on the plan where it is."""
TRY_DEG = 5.0
FARTHEST_NUDGE_M = 20.0


@dataclass
class Shown:
    """What persons have shown of one head; good while the pose in use is the one that it was shown against."""

    against: Pose | None
    known: Knowledge = field(default_factory=Knowledge)
    since: frozenset[str] = frozenset()
    """Marks that were sighted before anything was shown: not to be mixed with it where the head was solved."""
    tried: tuple[float, float] | None = None


class FocusAsks:
    """Answers in `table`. Knows nothing that is not in the show, the feed, or was shown by a person."""

    def __init__(self, panel: Panel, solving: Solving | None = None) -> None:
        self._panel, self._solving = panel, solving
        self._shown: dict[str, Shown] = {}
        self._fits: dict[str, tuple[object, Pose]] = {}

    @property
    def table(self) -> dict[str, Answer]:
        """Word -> answer."""
        return {
            "near": self.near,
            "nudge": self.nudge,
            "hangs": self.hangs,
            "shown": self.shown,
            "try": self.try_move,
            "went": self.went,
            "unlearn": self.unlearn,
            "solving": self.solving,
            "error-map": self.error_map,
        }

    def heard(self, news: News) -> None:
        """After each record, and after whatever changes the poses, it is looked again how everything fits."""
        ended = news["what"] == "solve" and news["word"] not in ("started", "note")
        if self._solving is not None and (ended or news["what"] in ("sighting", "forgotten", "accepted", "back")):
            self._solving.ask()

    # Questions

    async def near(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """Aim `head` near `mark` by the best that is known: the bridge's pose, or what was learnt since."""
        fixture, mark = self._head(data), data.get("mark")
        pose, by = await self._pose(fixture)
        if by in ("solved", "plot"):
            self._panel.send(page, f"/sight/{fixture.name}/near", (str(mark),))
            return {"by": by}
        at = self._mark(mark)
        if by == "":
            text = "Point it by numbers (Pan and tilt), then show where its beam is"
            raise Refused("unknown-hang", f"where {fixture.name} hangs is not known: {text}")
        pan, tilt = self._towards(fixture, pose, at, self._sent(fixture.name), self._side(fixture))
        self._panel.send(page, f"/sight/{fixture.name}/point", (pan, tilt))
        return {"by": by, "lands": list(at)}

    async def nudge(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """Move the beam of `head` by `dx`, `dy` metres on its floor, as seen on stage."""
        fixture = self._head(data)
        step = np.array([_number(data, "dx", FARTHEST_NUDGE_M), _number(data, "dy", FARTHEST_NUDGE_M), 0.0])
        pose, by = await self._pose(fixture)
        if by == "":
            raise Refused("unknown-hang", f"where {fixture.name} hangs is not known: show where its beam is first")
        pan, tilt = self._sent(fixture.name)
        landed = self._lands(fixture, pose, pan, tilt)
        if landed is None:
            raise Refused(
                "no-floor", f"by what is known, {fixture.name} lights no floor now: use pan and tilt, or Near"
            )
        to = landed + step
        wanted = self._towards(fixture, pose, to, (pan, tilt), None)
        here = self._towards(fixture, pose, landed, (pan, tilt), None)
        moved = (wanted[0] - here[0], wanted[1] - here[1])
        self._panel.send(page, f"/sight/{fixture.name}/nudge", moved)
        return {"by": by, "moved": [round(v, 4) for v in moved], "lands": [round(float(v), 3) for v in to]}

    async def hangs(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """From what it is known how `head` hangs, and where its beam is by that."""
        fixture = self._head(data)
        pose, by = await self._pose(fixture)
        landed = None if by == "" else self._lands(fixture, pose, *self._sent(fixture.name))
        return {"by": by, "lands": None if landed is None else [round(float(v), 3) for v in landed]}

    async def shown(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """A person has shown `at` [x, y]: there the beam of `head` is now."""
        fixture, at = self._head(data), data.get("at")
        if not isinstance(at, list) or len(at) != 2:
            raise Refused("field", "at: expected [x, y] in metres")
        x, y = (_number({"at": v}, "at", 500.0) for v in at)
        pan, tilt = self._sent(fixture.name)
        seen = Seen(pan, tilt, (x, y, self._floor(x, y)), SHOWN_M)
        self._learn(fixture, lambda known: replace(known, seen=(*known.seen[-7:], seen)))
        return await self.hangs(page, data)

    async def try_move(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """Tilt `head` a little, so that a person sees which way its beam goes."""
        fixture = self._head(data)
        pan, tilt = self._sent(fixture.name)
        low, high = _range(fixture)[1]
        step = TRY_DEG if (tilt >= 0) == (low <= tilt + TRY_DEG <= high) else -TRY_DEG
        self._learn(fixture, lambda known: known).tried = (pan, tilt)
        self._panel.send(page, f"/sight/{fixture.name}/nudge", (0.0, step))
        return {"moved": [0.0, step]}

    async def went(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """A person has seen that with the move that was tried the beam went `way` degrees, from stage right to up."""
        fixture, way = self._head(data), _number(data, "way", 360.0)
        tried = self._learn(fixture, lambda known: known).tried
        after = self._sent(fixture.name)
        if tried is None or math.dist(tried, after) < 0.2:
            raise Refused("no-move", f"{fixture.name} has not moved since: press `Try a move` first")
        self._learn(fixture, lambda known: replace(known, went=(*known.went[-3:], Went(tried, after, way))))
        return await self.hangs(page, data)

    async def unlearn(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """Forget what persons have shown of `head`."""
        self._shown.pop(self._head(data).name, None)
        return await self.hangs(page, data)

    async def solving(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """What the sightings give when they are solved, beside what was before; `fresh`: look now where nobody has."""
        if self._solving is None:
            raise Refused("solve", "this panel does not solve")
        if data.get("fresh") is True and self._solving.number == 0:
            self._solving.ask()
        return self._solving.shown()

    async def error_map(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """The predicted aim error of `head` over the stage."""
        if self._solving is None:
            raise Refused("solve", "this panel does not solve")
        return self._solving.map_of(self._head(data).name)

    # What is known

    async def _pose(self, fixture: Fixture) -> tuple[Pose, str]:
        """The best pose and what it rests on: `solved`, `shown`, `sightings`, `plot`; "" where nobody knows."""
        show, in_use, shown = self._panel.folder.show, self._panel.folder.poses.get(fixture.name), self._of(fixture)
        sightings = [
            s for s in show.sightings if s.fixture == fixture.name and (not in_use or s.mark not in shown.since)
        ]
        if in_use is not None and not shown.known:
            return in_use, "solved"
        marks = {s.mark: self._place_of(s.mark) for s in sightings}
        seen = [Seen(s.pan, s.tilt, at, SIGHTED_M) for s in sightings if (at := marks[s.mark]) is not None]
        known = Knowledge((*shown.known.seen, *seen), shown.known.went)
        by = "sightings" if seen else "shown" if known else "plot" if fixture.at is not None else ""
        key = (known, fixture)
        if self._fits.get(fixture.name, (None, None))[0] != key:
            corners = np.asarray(show.stage.polygon.area.corners, dtype=np.float64)
            middle = corners.mean(axis=0)
            pose = await asyncio.to_thread(hand_pose, fixture, known, (float(middle[0]), float(middle[1])))
            self._fits[fixture.name] = (key, pose)
        return self._fits[fixture.name][1], by

    def _of(self, fixture: Fixture) -> Shown:
        """What was shown of a head, while it is of the pose in use."""
        in_use = self._panel.folder.poses.get(fixture.name)
        shown = self._shown.get(fixture.name)
        return shown if shown is not None and shown.against == in_use else Shown(in_use)

    def _learn(self, fixture: Fixture, change: Any) -> Shown:
        shown = self._of(fixture)
        if not shown.known:
            shown.since = frozenset(s.mark for s in self._panel.folder.show.sightings if s.fixture == fixture.name)
        shown.known = change(shown.known)
        self._shown[fixture.name] = shown
        return shown

    # Geometry

    def _lands(self, fixture: Fixture, pose: Pose, pan: float, tilt: float) -> np.ndarray | None:
        beams = Beams([fixture], {fixture.name: pose}, self._panel.folder.show.stage)
        (hit,) = beams.land(np.array([pan]), np.array([tilt]), self._panel.heard.rows.floors)
        return hit if np.all(np.isfinite(hit)) else None

    def _towards(
        self, fixture: Fixture, pose: Pose, point: ArrayLike, now: tuple[float, float], side: float | None
    ) -> tuple[float, float]:
        """Pan and tilt (degrees) of the way to light a point that is nearest to `now`, on one face where it says so."""
        rig = Rig.from_fixtures([fixture], {fixture.name: pose})
        pan, tilt, _ = (
            np.degrees(v) if k < 2 else v for k, v in enumerate(rig.heads.aim(np.asarray(point).reshape(1, 3)))
        )
        turn = math.degrees(float(rig.heads.turn[0]))
        ways = [
            (float(pan[0, face]) + k * turn, float(tilt[0, face]))
            for face in (0, 1)
            if side is None or (face == 0) == (side > 0)
            for k in range(-3, 4)
        ]
        (pan_low, pan_high), (tilt_low, tilt_high) = _range(fixture)
        allowed = [w for w in ways if pan_low <= w[0] <= pan_high and tilt_low <= w[1] <= tilt_high]
        if not allowed:
            raise Refused(
                "out-of-reach", f"{fixture.name} cannot reach there inside its limits, by what is known so far"
            )
        return min(allowed, key=lambda w: max(abs(w[0] - now[0]), abs(w[1] - now[1])))

    def _side(self, fixture: Fixture) -> float | None:
        """The face on which a head was sighted so far: 1 or -1; None where on none or on both."""
        sides = {math.copysign(1.0, s.tilt) for s in self._panel.folder.show.sightings if s.fixture == fixture.name}
        return sides.pop() if len(sides) == 1 else None

    def _floor(self, x: float, y: float) -> float:
        """Height of the floor at a place, as it stands."""
        heights = self._panel.heard.rows.floors
        on = [
            heights.get(floor.name, floor.height)
            for floor in self._panel.folder.show.stage.floors
            if bool(Polygon(floor.corners).contains(np.array([[x, y]]))[0])
        ]
        return float(max(on)) if on else 0.0

    def _place_of(self, name: str) -> Point3 | None:
        show = self._panel.folder.show
        mark = show.stage.marks.get(name)
        return None if mark is None else mark.at or show.solved_marks.get(name)

    def _mark(self, name: object) -> Point3:
        at = self._place_of(str(name))
        if at is None:
            raise Refused("unknown-name", f"there is no mark {name!r} with a known place")
        return at

    # What is said

    def _head(self, data: dict[str, Any]) -> Fixture:
        name = data.get("head")
        found = next((f for f in self._panel.folder.show.fixtures if f.name == name), None)
        if found is None:
            raise Refused("unknown-name", f"there is no head {name!r} in this show")
        return found

    def _sent(self, name: str) -> tuple[float, float]:
        """Pan and tilt (degrees) that the bridge sends now."""
        row = self._panel.heard.rows.heads.get(name)
        if row is None:
            raise Refused("no-feed", f"the bridge has not told yet where {name} points")
        return row[1], row[2]


def _range(fixture: Fixture) -> tuple[tuple[float, float], tuple[float, float]]:
    """Pan and tilt limits, degrees."""
    pan, tilt = fixture.profile.pan, fixture.profile.tilt
    return (
        fixture.pan_limits or (min(pan.from_deg, pan.to_deg), max(pan.from_deg, pan.to_deg)),
        fixture.tilt_limits or (min(tilt.from_deg, tilt.to_deg), max(tilt.from_deg, tilt.to_deg)),
    )


def _number(data: dict[str, Any], key: str, most: float) -> float:
    value = data.get(key)
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= most:
        raise Refused("field", f"{key}: expected a number within {most:g}, found {str(value)[:40]!r}")
    return float(value)
