"""Heads in the desk's hands, and the way there and back: out, change over, in. No head is lit on that way.

                 wanted by the desk                                wanted back
    OURS      our light goes down; once it is out: MOVING       our light comes up again
    MOVING    dark, the desk moves it; once there: THEIRS       dark: OURS
    THEIRS    the desk's light comes up; at 1 all is theirs     the desk's light goes down; once it is out: OURS

A head that sends no light, because the desk's level is 0 or by our own doing, changes over at once.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from bridge.follow.keeping import Field, Part, Seats, time_field
from bridge.follow.moving.jumps import STOPS_IN
from bridge.follow.who.roles import Cast, Role
from bridge.geometry.frames import Array
from bridge.rig.look import DeskSays
from bridge.rig.rig import Rig
from bridge.rig.shares import DIMMER, FOCUS, PAN, TILT, ZOOM, Shares

OURS, MOVING, THEIRS = range(3)
THERE_RAD = np.radians(1.0)
LONGEST_S = 6.0


class Sent(NamedTuple):
    """What leaves of N heads: light, rad, raw, and whose it is (as rig/look.py says)."""

    level: Array
    pan_rad: Array
    tilt_rad: Array
    zoom_raw: Array
    focus_raw: Array
    own: np.ndarray | None
    whole: np.ndarray | None


class DeskHands(Part):
    """Per head (N,): who `has` it, is it `wanted` by the desk, how far the light is up (`ramp` 0..1).

    `idle`: all are ours and nobody is on the way. `says` is what the desk sends; None until it is heard.
    """

    kept = (
        Field("has", "heads", int, low=OURS, high=THEIRS),
        Field("wanted", "heads", bool),
        Field("ramp", "heads", low=0.0, high=1.0),
        Field("_lit", "heads", bool),
        Field("_whole", "heads", bool),
        time_field("_since_s", "heads"),
        time_field("_away_s", "heads"),
    )

    def __init__(self, rig: Rig, shares: Shares) -> None:
        count = len(rig)
        self.shares, self._stops_s = shares, STOPS_IN * rig.lag
        self._dims = shares.own[DIMMER]
        self._lenses_ours = bool(shares.own[[ZOOM, FOCUS]].all())
        self.has = np.full(count, OURS)
        self.wanted, self._lit, self._whole = (np.zeros(count, dtype=bool) for _ in range(3))
        self.ramp = np.ones(count)
        self._since_s, self._away_s = np.full(count, -np.inf), np.full(count, -np.inf)
        self.says: DeskSays | None = None
        self._nobody, self._nothing = np.zeros(count, dtype=bool), np.zeros(count)
        self._look()

    def _look(self) -> None:
        self.idle = bool((self.has == OURS).all() and not self.wanted.any() and self.ramp.min(initial=1.0) >= 1.0)

    # What is asked of it

    def hear(self, says: DeskSays) -> None:
        """What the desk sends from now on."""
        self.says = says

    @property
    def heard(self) -> np.ndarray:
        """Heads (N,) under which a whole frame of the desk lies."""
        return self._nobody if self.says is None else self.says.heard & self.shares.under

    def give(self, fixtures: np.ndarray, on: bool) -> None:
        """Give heads (N,) into the desk's hands, or have them back."""
        self.wanted = (self.wanted | fixtures) if on else (self.wanted & ~fixtures)
        self._look()

    def holds(self, fixture: int) -> bool:
        """Whether a head is in the desk's hands, or on its way there or back."""
        return bool(self.wanted[fixture] or self.has[fixture] != OURS)

    def forget(self, where: np.ndarray) -> None:
        """These heads (N,) are other ones now: ours."""
        self.has, self.wanted = np.where(where, OURS, self.has), self.wanted & ~where
        self.ramp = np.where(where, np.where(self._dims, 1.0, 0.0), self.ramp)
        self._look()

    @property
    def held(self) -> np.ndarray:
        """Heads (N,) that the desk moves."""
        return self.has != OURS

    @property
    def changing(self) -> np.ndarray:
        """Heads (N,) that go over to the desk, and are not there yet."""
        return (self.has == MOVING) | (self.wanted & (self.has == OURS))

    def begin(self, where: np.ndarray) -> None:
        """Output to these heads (N,) starts: where the light is the desk's it comes up once they are in their place."""
        self.ramp = np.where(where & ~self._dims & (self.has == OURS), 0.0, self.ramp)
        self._look()

    # One frame: before roles

    def change_over(self, angle: Array, still: np.ndarray, now_s: float) -> tuple[np.ndarray, np.ndarray] | None:
        """Who (N,) went over to the desk with this frame, and who came back; None: nobody has changed hands.

        `angle` (2, N) rad is where heads are commanded to be so far; who is `still` stands, and is not there.
        """
        if self.idle:
            return None
        stays = still | ~self.heard
        away = stays if self.says is None else stays | (self._way(self.says, angle) > THERE_RAD)
        self._away_s = np.where(away, now_s, self._away_s)
        self._since_s = np.where(stays, now_s, self._since_s)
        has, wanted = self.has, self.wanted
        took_s = now_s - self._since_s
        there = (has == MOVING) & wanted & ~stays & ((now_s - self._away_s >= self._stops_s) | (took_s >= LONGEST_S))
        taken = (has == OURS) & wanted & ~self._lit
        back = ~wanted & ((has == MOVING) | ((has == THEIRS) & ~self._lit))
        stopped = (has == THEIRS) & still & ~back
        self.has = np.select([there, taken | stopped, back], [THEIRS, MOVING, OURS], has)
        self.ramp = np.where(taken | stopped, 0.0, np.where(back, np.where(self._dims, 1.0, 0.0), self.ramp))
        self._since_s = np.where(taken, now_s, self._since_s)
        self._away_s = np.where(taken, now_s, self._away_s)
        self._look()
        return (taken, back) if (taken | back | there | stopped).any() else None

    @staticmethod
    def _way(says: DeskSays, angle: Array) -> Array:
        return np.abs(np.array([says.pan_rad, says.tilt_rad]) - angle).max(axis=0)

    # One frame: on the way

    def setpoints(self, angle: Array) -> Array:
        """Where heads in the desk's hands go, (2, N) rad: where it sends them; who is not heard stands at `angle`."""
        says = self.says
        return angle if says is None else np.where(self.heard, np.array([says.pan_rad, says.tilt_rad]), angle)

    def _theirs(self, row: int, roles: Cast) -> np.ndarray:
        """Heads (N,) of which this channel is the desk's, and heard."""
        return self.heard & (self.held | (~self.shares.own[row] & ~_wholly_ours(roles)))

    def zoom(self, raw: Array, roles: Cast) -> Array:
        """Raw zoom (N,) in force: ours is `raw`."""
        if self.says is None or (self._lenses_ours and roles.usual):
            return raw
        return np.where(self._theirs(ZOOM, roles), self.says.zoom_raw, raw)

    # One frame: light

    def dimmed(
        self, level: Array, roles: Cast, cut: np.ndarray, there: np.ndarray, fades: tuple[float, float], dt_s: float
    ) -> Array:
        """What is made of our `level` (N,) on the way; for heads whose light is the desk's, the share of it.

        `cut` (N,) heads must be dark (as are those that are out, whoever has the dimmer), `there` (N,) are where they
        belong; `fades` are seconds in and out.
        """
        self._whole, was_whole = _wholly_ours(roles), self._whole
        self._shared = (self.held | ~self._dims) & ~self._whole
        if self.idle and roles.usual and not cut.any() and not was_whole.any():
            return np.where(self._shared, 1.0, level)
        up = np.where(
            self.has == OURS, ~self.wanted & (self._dims | self._whole | there | (self.ramp > 0)), self.wanted
        )
        step = np.where(up, _share(dt_s, fades[0]), -_share(dt_s, fades[1]))
        ramp = np.minimum(np.maximum(self.ramp + step, 0.0), 1.0)
        self.ramp = np.where(self._shared & (cut | roles.out | was_whole) | (self.has == MOVING), 0.0, ramp)
        self._look()
        return np.where(self._shared, self.ramp, np.where(cut, 0.0, level * self.ramp))

    def sent(self, factor: Array, angle: Array, zoom: Array, focus: Array, roles: Cast, dark: np.ndarray) -> Sent:
        """What leaves, of `factor` as `dimmed` gave it and the guard let through, angles (2, N), and raw values."""
        shares, says, whole = self.shares, self.says, self._whole
        own = shares.own | whole
        own = own & ~self.held
        own[DIMMER] |= dark | roles.still | (self._shared & (factor < 1.0)) | (self.has == MOVING)
        own[[PAN, TILT]] |= roles.still
        heard = self.heard
        light = self._nothing if says is None else np.where(heard, says.light, 0.0)
        level = np.where((self._shared | (shares.multiply & ~whole)) & shares.under, factor * light, factor)
        self._lit = level > 0.0
        if says is None:
            return Sent(level, angle[0], angle[1], zoom, focus, own, whole | ~shares.under)
        ours = own | ~heard
        pan, tilt = np.where(ours[PAN], angle[0], says.pan_rad), np.where(ours[TILT], angle[1], says.tilt_rad)
        zoom, focus = np.where(ours[ZOOM], zoom, says.zoom_raw), np.where(ours[FOCUS], focus, says.focus_raw)
        return Sent(level, pan, tilt, zoom, focus, own, whole | ~shares.under)

    def sends(self, fixture: int) -> tuple[float, float, float, float] | None:
        """Pan and tilt (rad), zoom and focus (raw) that the desk sends a head in its hands; None: it is not."""
        says = self.says
        if says is None or self.has[fixture] == OURS or not self.heard[fixture]:
            return None
        pan, tilt, zoom, focus = (
            float(row[fixture]) for row in (says.pan_rad, says.tilt_rad, says.zoom_raw, says.focus_raw)
        )
        return pan, tilt, zoom, focus

    # What is kept

    def restore(self, data: Any, seats: Seats) -> None:
        """As of keeping.Part. A head under which there is no desk any more is ours."""
        super().restore(data, seats)
        self.forget(~self.shares.under)


def _wholly_ours(roles: Cast) -> np.ndarray:
    """Heads (N,) in a working light: all of their channels and fixed slots are ours, and nothing dims them."""
    return roles.by_hand | roles.found | (roles.role == Role.WALKED)


def _share(dt_s: float, fade_s: float) -> float:
    return dt_s / fade_s if fade_s > 0 else 1.0
