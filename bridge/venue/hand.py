"""One head in the robot's hand: find its beam, learn how it answers, nudge it onto mark after mark.

The hand thinks in the plane in which a hanging head's beam moves evenly, `u = tan(tilt) (-sin pan, cos pan)`: the spot
on the floor is nearly a turned and scaled copy of u. Turn and scale are learnt from nudges (finite differences, then
one rank-one correction per nudge), so neither where the head hangs nor how it is turned is used. A head that does not
answer like that (standing, on a side arm) is learnt with `PlaneMap` from a few more nudges.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Mapping

import numpy as np
from numpy.typing import NDArray

from bridge.geometry.stage import Point3
from bridge.rig.fixture import Fixture
from bridge.venue.plane_map import PlaneMap, direction, nearest_angles

Array = NDArray[np.float64]
SEARCH, LEARN, NUDGE, FINISHED, LOST = "search", "learn", "nudge", "finished", "lost"
REACTION_S = 0.25  # nobody expects a beam to have answered sooner
STILL_S, STILL_M = 0.12, 0.0015  # a beam that stayed so near for so long has arrived
PATIENCE_S = 6.0  # longest wait for a beam to come to rest
MOST_NUDGES = 18  # per mark; then the best place so far is taken
GOOD_ENOUGH_M = 0.03  # how near the best place must be, to be recorded at all
FAR_M = 40.0  # a beam that lands further off is no help
STEEPEST = math.tan(math.radians(80))
LEARNING_STEP_DEG = 6.0
EVEN_TRIES = 5  # nudges on a mark after which a head is known not to answer evenly
LOOK_ROUND = [(6.0, 0.0), (0.0, 5.0), (-12.0, 0.0), (0.0, -10.0), (6.0, 7.0)]  # pan, tilt: to learn an uneven head
LEAP_DEG = 30.0  # further than this nobody moves a beam whose ways are just being learnt
SWEEP = [(pan, tilt) for tilt in (45, 25, 65, 105, 125, -45, -105) for pan in (0, 90, -90, 180)]


def plane_of(pan_deg: float, tilt_deg: float) -> Array:
    """u of a pan and tilt."""
    pan, reach = math.radians(pan_deg), math.tan(math.radians(tilt_deg))
    return np.array([-math.sin(pan) * reach, math.cos(pan) * reach])


class Hand:
    """Brings one head's beam to `places` (by mark) and records it there.

    `cards` names the places that are raised marks. They come last; their places, and what is seen of the beam while
    one of them is sought (`card`), are metres on that card: right, up, 0.
    """

    def __init__(
        self,
        fixture: Fixture,
        places: Mapping[str, Point3],
        say: Callable[..., None],
        close_m: float,
        cards: frozenset[str] = frozenset(),
    ) -> None:
        self.name = fixture.name
        self._say, self._close = say, close_m
        self._places = deque(sorted(places.items(), key=lambda item: item[0] in cards))
        self._cards = cards
        self.wanted, self.recorded, self.nudges = len(places), 0, 0
        self.missed: list[str] = []
        self.phase = SEARCH
        pan, tilt = fixture.profile.pan, fixture.profile.tilt
        self._pan_range = fixture.pan_limits or (min(pan.from_deg, pan.to_deg), max(pan.from_deg, pan.to_deg))
        self._tilt_range = fixture.tilt_limits or (min(tilt.from_deg, tilt.to_deg), max(tilt.from_deg, tilt.to_deg))
        self._sweep = self._fresh_sweep()
        self._asked = (0.0, 0.0)
        self._asked_s = -math.inf
        self._seen_at = self._asked
        self._looks: deque[tuple[float, Array | None]] = deque()
        self._gain = np.eye(2)  # metres on the floor per unit of u
        self._last: tuple[Array, Array] | None = None  # u and where the beam landed, of the move before
        self._best: tuple[float, tuple[float, float]] | None = None
        self._tries = 0
        self._map = PlaneMap()
        self._even = True
        self._leap = LEAP_DEG
        self._look_round: deque[tuple[float, float]] = deque()

    @property
    def finished(self) -> bool:
        """Nothing more to do: all marks recorded or given up."""
        return self.phase in (FINISHED, LOST)

    @property
    def card(self) -> str | None:
        """The raised mark that is sought now."""
        return self._places[0][0] if self._places and self._places[0][0] in self._cards else None

    def begin(self, now_s: float, level: float) -> None:
        """Take the head: working light, tight beam, and look for it. With no place to go to, leave it alone."""
        if not self._places:
            self.phase = FINISHED
            return
        self._say(f"/sight/{self.name}/level", float(level))
        self._point(*self._sweep.popleft(), now_s)
        if self.card is not None:
            self._even, self._look_round = False, deque(LOOK_ROUND)

    def tick(self, where: Point3 | None, now_s: float) -> None:
        """One look at the beam (None: it is not seen on the floor); acts once the beam has come to rest."""
        if self.finished or not self._at_rest(where, now_s):
            return
        landed = None if where is None else np.array(where)
        if landed is None or float(np.abs(landed).max()) > FAR_M:
            self._not_seen(now_s)
        else:
            self._seen_at = self._asked
            self._map.see(direction(*self._asked), landed)
            self._move(landed, now_s)

    def _move(self, landed: Array, now_s: float) -> None:
        if self.phase == SEARCH:
            self._found(landed, now_s)
        elif self.phase == LEARN:
            self._learn(landed, now_s)
        else:
            self._nudge(landed, now_s)

    def _at_rest(self, where: Point3 | None, now_s: float) -> bool:
        spot = None if where is None else np.array(where)
        self._looks.append((now_s, spot))
        if now_s - self._asked_s < REACTION_S:
            self._looks.clear()
            return False
        while self._looks and now_s - self._looks[0][0] > STILL_S + 0.05:
            self._looks.popleft()
        if now_s - self._asked_s > PATIENCE_S:
            return True
        if now_s - self._looks[0][0] < STILL_S:
            return False
        seen = [s for _, s in self._looks if s is not None]
        if len(seen) < len(self._looks):  # not seen at all is at rest too, but give it time to come into view
            return not seen and now_s - self._asked_s > 1.8
        return float(np.ptp(np.array(seen), axis=0).max()) < STILL_M

    def _not_seen(self, now_s: float) -> None:
        if self.phase == SEARCH:
            if self._sweep:
                self._point(*self._sweep.popleft(), now_s)
            elif self.card is not None:
                self._next_mark(now_s, recorded=False)
            else:
                self._give_up()
            return
        # A nudge threw the beam off the floor: half of the way back, and learn again from there.
        self._tries += 1
        if self._last is None or self._tries > MOST_NUDGES:
            self._next_mark(now_s, recorded=False)
            return
        self._leap = max(self._leap / 2, 1.0)
        middle = direction(*self._asked) + direction(*self._seen_at)
        if not self._even and self._places:  # to the known place nearest to the mark, and less far from there
            middle = self._map.nearest(np.array(self._places[0][1]))
        angles = nearest_angles(middle, self._asked, self._pan_range, self._tilt_range) or self._seen_at
        self._point(*angles, now_s)

    def _found(self, landed: Array, now_s: float) -> None:
        self._last = (plane_of(*self._asked), landed)
        if self.card is not None:
            self.phase = NUDGE
            self._nudge(landed, now_s)
            return
        self.phase = LEARN
        pan, tilt = self._asked
        step = LEARNING_STEP_DEG if self._allowed(pan + LEARNING_STEP_DEG, tilt) else -LEARNING_STEP_DEG
        self._nudge_by(step, 0.0, now_s)

    def _learn(self, landed: Array, now_s: float) -> None:
        """The first difference gives turn and scale at once: gain = moved / du as complex numbers."""
        assert self._last is not None
        u, (u0, before) = plane_of(*self._asked), self._last
        moved = landed - before
        ratio = complex(moved[0], moved[1]) / complex(*(u - u0))
        if abs(ratio) < 0.05:  # the beam hardly moved: a wall, or nobody turned it; look elsewhere
            self.phase = SEARCH
            self._not_seen(now_s)
            return
        self._gain = np.array([[ratio.real, -ratio.imag], [ratio.imag, ratio.real]])
        self._last = (u, landed)
        self.phase = NUDGE
        self._tries, self._best = 0, None
        self._nudge(landed, now_s)

    def _nudge(self, landed: Array, now_s: float) -> None:
        u = plane_of(*self._asked)
        self._correct(u, landed)
        self._last = (u, landed)
        _mark, place = self._places[0]
        gap = np.array(place[:2]) - landed[:2]
        off = float(np.hypot(*gap))
        if self._best is None or off < self._best[0]:
            self._best = (off, self._asked)
        if off <= self._close:
            self._next_mark(now_s, recorded=True)
        elif self._tries >= MOST_NUDGES:
            self._settle_for_best(now_s)
        else:
            self._tries += 1
            if self._even and self._tries > EVEN_TRIES and self._best[0] > 0.05:
                self._even, self._tries = False, 0
                self._look_round = deque(LOOK_ROUND)
            if self._even:
                self._towards(u, gap, now_s)
            else:
                self._towards_uneven(np.array(place[:2]), place[2], now_s)

    def _towards_uneven(self, place: Array, height: float, now_s: float) -> None:
        """By what all looks so far say; while that is too little, look round."""
        here = direction(*self._asked)
        aim = None if self._look_round else self._map.towards(place, height, here)
        if aim is None:
            if not self._look_round:
                self._look_round = deque(LOOK_ROUND)
            turn, lean = self._look_round.popleft()
            if not self._allowed(self._asked[0] + turn, self._asked[1] + lean):
                turn, lean = -turn, -lean
            self._nudge_by(turn, lean, now_s)
            return
        apart = math.degrees(math.acos(max(-1.0, min(1.0, float(here @ aim)))))
        step = here + (aim - here) * min(1.0, self._leap / max(apart, 1e-9))
        self._leap = min(self._leap * 1.5, LEAP_DEG)
        ways = [nearest_angles(d, self._asked, self._pan_range, self._tilt_range) for d in (step, aim)]
        angles = ways[0] or ways[1]  # the straight way may lead past the end of its travel
        if angles is None:  # out of its reach, as far as can be told
            self._tries, angles = MOST_NUDGES, self._asked
        self._point(*angles, now_s)

    def _correct(self, u: Array, landed: Array) -> None:
        """Broyden's rank-one update, where the move was large enough to say something and stayed on one floor."""
        if self._last is None:
            return
        du, moved = u - self._last[0], landed - self._last[1]
        size = float(du @ du)
        if size < 1e-8 or abs(moved[2]) > 0.02 or float(np.hypot(moved[0], moved[1])) < 0.02:
            return
        fresh = self._gain + np.outer(moved[:2] - self._gain @ du, du) / size
        if abs(float(np.linalg.det(fresh))) > 1e-3:
            self._gain = fresh

    def _towards(self, u: Array, gap: Array, now_s: float) -> None:
        wanted = u + np.linalg.solve(self._gain, gap)
        reach = float(np.hypot(*wanted))
        if reach > STEEPEST:
            wanted = wanted * (STEEPEST / reach)
        pan, tilt = self._angles(wanted)
        turn, lean = pan - self._asked[0], tilt - self._asked[1]
        if max(abs(turn), abs(lean)) > 5.0:
            self._point(pan, tilt, now_s)
        else:
            self._nudge_by(turn, lean, now_s)

    def _settle_for_best(self, now_s: float) -> None:
        """A coarse head cannot do better: back to its best place, and take it if a person would."""
        assert self._best is not None
        off, asked = self._best
        if off > GOOD_ENOUGH_M:
            self._next_mark(now_s, recorded=False)
        elif asked == self._asked:
            self._next_mark(now_s, recorded=True)
        else:
            self._close = max(self._close, off * 1.5)
            self._point(*asked, now_s)

    def _next_mark(self, now_s: float, recorded: bool) -> None:
        mark, _ = self._places.popleft()
        if recorded:
            self._say(f"/sight/{self.name}/record", mark)
            self.recorded += 1
        else:
            self.missed.append(mark)
        self._tries, self._best = 0, None
        if not self._places:
            self.phase = FINISHED
            self._say(f"/sight/{self.name}/done")
            return
        if self.card is not None:
            self._seek_card(now_s)
        elif recorded and self._even and self._last is not None:
            u, landed = self._last
            self._towards(u, np.array(self._places[0][1][:2]) - landed[:2], now_s)
        else:
            self._asked_s = now_s - REACTION_S  # look again from here

    def _seek_card(self, now_s: float) -> None:
        """A card is a plane of its own: learn it from where the beam is, or sweep until the beam crosses it."""
        self.phase, self._even = SEARCH, False
        self._map, self._look_round, self._leap = PlaneMap(), deque(LOOK_ROUND), LEAP_DEG
        self._sweep = self._fresh_sweep()
        self._asked_s = now_s - REACTION_S
        self._looks.clear()

    def _fresh_sweep(self) -> deque[tuple[float, float]]:
        return deque(s for s in SWEEP if self._allowed(*s))

    def _give_up(self) -> None:
        self.missed += [mark for mark, _ in self._places]
        self.phase = LOST
        self._say(f"/sight/{self.name}/done")

    def _angles(self, u: Array) -> tuple[float, float]:
        """Pan and tilt of u on the side of level that is in use, the turn of pan nearest to where it is."""
        _, tilt_now = self._asked
        reach = math.atan(float(np.hypot(*u)))
        # tan(tilt) is positive up to 90 deg, and again from -180 to -90.
        positive = 0 <= tilt_now < 90 or tilt_now < -90
        sign = 1.0 if positive else -1.0
        pan = math.degrees(math.atan2(-sign * u[0], sign * u[1]))
        tilt = {
            (True, True): math.degrees(reach),
            (False, True): 180 - math.degrees(reach),
            (False, False): -math.degrees(reach),
            (True, False): math.degrees(reach) - 180,
        }[(positive, tilt_now >= 0)]
        near = [pan + 360 * k for k in (-2, -1, 0, 1, 2)]
        low, high = self._pan_range
        allowed = [p for p in near if low <= p <= high] or [min(max(pan, low), high)]
        best = min(allowed, key=lambda p: abs(p - self._asked[0]))
        return best, min(max(tilt, self._tilt_range[0]), self._tilt_range[1])

    def _allowed(self, pan: float, tilt: float) -> bool:
        (p0, p1), (t0, t1) = self._pan_range, self._tilt_range
        return p0 <= pan <= p1 and t0 <= tilt <= t1

    def _point(self, pan: float, tilt: float, now_s: float) -> None:
        self._say(f"/sight/{self.name}/point", float(pan), float(tilt))
        self._asked, self._asked_s = (pan, tilt), now_s
        self._looks.clear()

    def _nudge_by(self, turn: float, lean: float, now_s: float) -> None:
        self._say(f"/sight/{self.name}/nudge", float(turn), float(lean))
        self.nudges += 1
        pan, tilt = self._asked
        self._asked, self._asked_s = (pan + turn, tilt + lean), now_s
        self._looks.clear()
