"""All heads of the venue as arrays: bytes in, motors, light, zoom and focus out. Virtual time, no clock.

Per step: slots are decoded (the venue's own reading of the profile), delayed by each head's dead time, smoothed by the
maker's filter, followed by motors with bounded speed and acceleration, and passed through the play of the gears.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from bridge.rig.fixture import Fixture
from bridge.venue.truth import FixtureTruth
from bridge.venue.zoom import OpticsTables

Array = NDArray[np.float64]
CHANNELS = ("pan", "tilt", "dimmer", "zoom", "focus")
SPEED_TAU_S = 0.03  # over which the motors' control judges how fast its goal runs
HISTORY = 128  # steps of commands kept for the dead time: 1.28 s at 100 steps/s


@dataclass(frozen=True)
class HeadState:
    """What the heads are doing now. Shapes (n,): rad, 0..1, full angle in rad, metres (inf: none)."""

    pan_rad: Array
    tilt_rad: Array
    pan_speed: Array  # rad/s, of the motor
    tilt_speed: Array
    level: Array
    zoom_rad: Array
    candela: Array  # centre intensity at full level; nan where the profile does not say
    focus_m: Array  # distance at which the image is sharp; nan where there is no focus
    heard: NDArray[np.bool_]  # a packet with this head's channels has ever arrived
    colour: Array  # (n, 3): shares of red, green and blue in the light, 1, 1, 1 where a head mixes none


class VirtualHeads:
    """n heads. `hear` patches slots, `step(dt)` moves time on, `state()` reads."""

    def __init__(self, fixtures: Sequence[Fixture], truths: Sequence[FixtureTruth]) -> None:
        self.universes = sorted({f.universe for f in fixtures})
        self._row = {universe: i for i, universe in enumerate(self.universes)}
        # One spare slot at the end stays 0: channels that a head does not have are read from there.
        self._slots = np.zeros(512 * len(self.universes) + 1)
        self._heard = np.zeros(len(self.universes), dtype=bool)
        self._universe_of = np.array([self._row[f.universe] for f in fixtures], dtype=np.intp)
        self._index, self._weight, self._full = _decoder(fixtures, self._row, self._slots.size - 1)
        ends = np.array([f.profile.dimmer_raw for f in fixtures]).reshape(-1, 2) / self._full[2][:, None]
        self._dark, self._brighter = ends[:, 0], ends[:, 1] - ends[:, 0]
        self._curve_square = np.array([f.profile.dimmer_curve == "square" for f in fixtures])
        axes = [(f.profile.pan, f.profile.tilt) for f in fixtures]
        self._from = np.radians([[a.from_deg for a in pair] for pair in axes]).T
        self._to = np.radians([[a.to_deg for a in pair] for pair in axes]).T
        self._speed = np.radians([[a.speed for a in pair] for pair in axes]).T
        self._acceleration = np.radians([[a.acceleration for a in pair] for pair in axes]).T
        self._optics = OpticsTables(fixtures, truths)
        self._colour = _colour_slots(fixtures, truths, self._row, self._slots.size - 1)
        self._mixes = np.array([t.colour is not None for t in truths])
        self._load(truths)
        self._home()

    def _load(self, truths: Sequence[FixtureTruth]) -> None:
        self._dead = np.array([t.dead_time_s for t in truths])
        self._tau = np.array([t.smoothing_s for t in truths]) / 2  # two equal stages share the lag
        self._play = np.radians([t.backlash_deg for t in truths]) / 2
        self._travel = np.array([[t.zoom_travel_s, t.focus_travel_s] for t in truths]).T
        self._dimmer_tau = np.array([t.dimmer_s for t in truths])

    def _home(self) -> None:
        """After power-on a head stands in the middle of its travel, dark."""
        n = self._dead.size
        middle = np.clip(0.0, np.minimum(self._from, self._to), np.maximum(self._from, self._to))
        self.now_s = 0.0
        self._times = np.full(HISTORY, -np.inf)
        self._commands = np.zeros((HISTORY, 5, n))
        self._newest = 0
        self._begun = np.zeros(n, dtype=bool)
        share = (middle - self._from) / (self._to - self._from)
        self._commands[:] = np.stack([share[0], share[1], np.zeros(n), np.zeros(n), np.zeros(n)])
        self._filter = np.stack([middle, middle])  # (stage, axis, n)
        self._goal = middle.copy()
        self._goal_speed = np.zeros((2, n))
        self.motor = middle.copy()  # (axis, n) rad
        self.velocity = np.zeros((2, n))
        self.shaft = middle.copy()  # after the play
        self.level = np.zeros(n)
        self._zoom_focus = np.zeros((2, n))  # share of travel, 0..1

    def hear(self, universe: int, slots: bytes) -> None:
        """Take the levels of one universe; a short packet leaves the later slots as they are (E1.31 nodes hold)."""
        row = self._row.get(universe)
        if row is None:
            return
        values = np.frombuffer(slots[:512], dtype=np.uint8)
        self._slots[512 * row : 512 * row + values.size] = values
        self._heard[row] = True

    def step(self, dt: float) -> None:
        """Move time on by dt seconds."""
        self.now_s += dt
        self._remember()
        command = self._delayed()
        self._move(self._from + (self._to - self._from) * command[:2], dt)
        self._light(command[2], dt)
        self._zoom_focus = _slew(self._zoom_focus, command[3:], self._travel, dt)

    def state(self) -> HeadState:
        """What every head does now."""
        zoom_rad, candela = self._optics.zoom(self._zoom_focus[0])
        return HeadState(
            self.shaft[0], self.shaft[1], self.velocity[0], self.velocity[1], self.level, zoom_rad, candela,
            self._optics.focus_distance(self._zoom_focus[1]), self._heard[self._universe_of],
            np.where(self._mixes[:, None], self._slots[self._colour] / 255, 1.0),
        )  # fmt: skip

    def raw(self) -> NDArray[np.int64]:
        """Raw values on the wire now, (5, n) in the order of CHANNELS."""
        return np.einsum("bcn,bcn->cn", self._slots[self._index], self._weight).astype(np.int64)

    def _remember(self) -> None:
        if not self._heard.any():
            return
        raw = np.einsum("bcn,bcn->cn", self._slots[self._index], self._weight)
        heard = self._heard[self._universe_of]
        self._begin(heard & ~self._begun, raw / self._full)
        previous = self._commands[self._newest]
        self._newest = (self._newest + 1) % HISTORY
        self._commands[self._newest] = np.where(heard, raw / self._full, previous)
        self._times[self._newest] = self.now_s

    def _begin(self, fresh: NDArray[np.bool_], command: Array) -> None:
        """Heads that hear their first packet stand where it points them, dark: the show was on before we came."""
        if not fresh.any():
            return
        self._begun = self._begun | fresh
        place = self._from + (self._to - self._from) * command[:2]
        for kept in (self._filter[0], self._filter[1], self._goal, self.motor, self.shaft):
            kept[:, fresh] = place[:, fresh]
        self._zoom_focus[:, fresh] = command[3:, fresh]
        # What is not old enough yet is read as if it had been so for long.
        self._commands[:, :, fresh] = command[:, fresh]
        self._commands[:, 2, fresh] = 0.0

    def _delayed(self) -> Array:
        """Per head the newest command that is at least its dead time old, (5, n)."""
        order = (self._newest + 1 + np.arange(HISTORY)) % HISTORY  # oldest first
        found = np.searchsorted(self._times[order], self.now_s - self._dead + 1e-9, side="right") - 1
        which = order[np.maximum(found, 0)]
        chosen: Array = self._commands[which, :, np.arange(which.size)].T
        return chosen

    def _move(self, wanted: Array, dt: float) -> None:
        share = dt / (self._tau + dt)  # backward Euler: a steady motion lags by exactly tau per stage
        self._filter[0] += share * (wanted - self._filter[0])
        self._filter[1] += share * (self._filter[0] - self._filter[1])
        moved = (self._filter[1] - self._goal) / dt
        self._goal = self._filter[1].copy()
        self._goal_speed += -np.expm1(-dt / SPEED_TAU_S) * (moved - self._goal_speed)
        self._drive(wanted, dt)
        self.shaft = np.clip(self.shaft, self.motor - self._play, self.motor + self._play)

    def _drive(self, command: Array, dt: float) -> None:
        """Keep with the smoothed goal, within the limits, and always able to stop before passing what was commanded.

        The command runs ahead of its smoothed copy: that is the room in which a fast motion brakes.
        """
        a, error = self._acceleration, self._goal - self.motor
        ramp = a * dt / 2  # half of what the speed can change in a step: braking begins that much earlier
        closing = np.minimum(np.sqrt(ramp * ramp + 2 * a * np.abs(error)) - ramp, np.abs(error) / dt)
        wanted = np.clip(self._goal_speed + np.sign(error) * closing, -self._speed, self._speed)
        above = np.maximum(np.maximum(self._goal, command) - self.motor, 0.0)
        below = np.maximum(self.motor - np.minimum(self._goal, command), 0.0)
        most, least = (np.minimum(np.sqrt(ramp * ramp + 2 * a * v) - ramp, v / dt) for v in (above, below))
        wanted = np.clip(wanted, -least, most)
        self.velocity = np.clip(wanted, self.velocity - a * dt, self.velocity + a * dt)
        self.motor = self.motor + self.velocity * dt

    def _light(self, command: Array, dt: float) -> None:
        command = np.clip((command - self._dark) / self._brighter, 0.0, 1.0)
        wanted = np.where(self._curve_square, command * command, command)
        share = np.where(self._dimmer_tau > 0, -np.expm1(-dt / np.maximum(self._dimmer_tau, 1e-9)), 1.0)
        self.level = self.level + share * (wanted - self.level)
        self.level[self.level < 1e-4] = 0.0


def _decoder(fixtures: Sequence[Fixture], row: dict[int, int], spare: int) -> tuple[NDArray[np.intp], Array, Array]:
    """Slot indices and place values (4 bytes, 5 channels, n heads), coarse first, and full scales (5, n)."""
    n = len(fixtures)
    index = np.full((4, 5, n), spare, dtype=np.intp)
    weight = np.zeros((4, 5, n))
    full = np.ones((5, n))
    for i, fixture in enumerate(fixtures):
        base = 512 * row[fixture.universe] + fixture.address - 1
        for c, channel in enumerate(CHANNELS):
            offsets = fixture.profile.channels.get(channel, ())
            for b, offset in enumerate(offsets):
                index[b, c, i] = base + offset - 1
                weight[b, c, i] = 256.0 ** (len(offsets) - 1 - b)
            full[c, i] = max(256.0 ** len(offsets) - 1, 1.0)
    return index, weight, full


def _colour_slots(
    fixtures: Sequence[Fixture], truths: Sequence[FixtureTruth], row: dict[int, int], spare: int
) -> NDArray[np.intp]:
    """Slot indices of red, green and blue, (n, 3)."""
    index = np.full((len(fixtures), 3), spare, dtype=np.intp)
    for i, (fixture, truth) in enumerate(zip(fixtures, truths, strict=True)):
        if truth.colour is not None:
            index[i] = 512 * row[fixture.universe] + fixture.address - 2 + np.array(truth.colour)
    return index


def _slew(now: Array, wanted: Array, travel_s: Array, dt: float) -> Array:
    step = np.where(travel_s > 0, dt / np.maximum(travel_s, 1e-9), 1.0)
    return now + np.clip(wanted - now, -step, step)
