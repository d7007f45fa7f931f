"""Where those who move are now, and how far they will have gone: from observations with their times, for all at once.

Rows (R,) are the ways in which targets are seen: by OSC, and by each point of a tracking input that steers one. What is
seen waits in a queue until the frame. There each observation is judged by itself (accepting); those of one frame and
row count as one, at their mean time, so that one step of the models takes in all rows (models).
A row that is no stream stands exactly where it was seen last.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from bridge.follow.keeping import FARTHEST_M, LATEST_S, NEVER_S, Data, Field, Part, Seats, numbers_in
from bridge.follow.where import ageing, noise, speeds
from bridge.follow.where.accepting import FLAT, NOWHERE, STREAM, Group, Hearing, Spot, Verdict, add_to, merged
from bridge.follow.where.models import MODELS, Models
from bridge.geometry.frames import Array
from bridge.geometry.stage import Point3, Walk

LARGEST = 1e9
"""No number of a state is larger."""
QUEUED_MOST = 65536
"""So many observations of a queue are taken back at most."""

Queued = tuple[int, Spot, Point3 | None]
"""Row, time (the input's delay taken off) and place, speed."""


class Tracks(Part):
    """R rows. `place` (R, 3) m: where each is now; `jumped` (R,): it is somewhere else than before, at once, with the
    last `take_in`; `noise` (R,) m per axis: how noisy what is seen is, as told or found out."""

    kept = (
        Field("place", "tracks", low=-FARTHEST_M, high=FARTHEST_M),
        Field("_heard", "tracks", low=-LATEST_S, high=LATEST_S, gap=NEVER_S),
        Field("_bank", "tracks", low=-LARGEST, high=LARGEST),
        Field("_share", "tracks", low=0, high=1),
        Field("_mean", "tracks", low=-LARGEST, high=LARGEST),
        Field("_anchor", "tracks", low=-FARTHEST_M, high=FARTHEST_M),
        Field("_at_s", "tracks", low=-LATEST_S, high=LATEST_S),
        Field("_noise", "tracks", low=0, high=LARGEST),
        Field("_proof", "tracks", low=-LARGEST, high=LARGEST),
        Field("_now", "tracks", low=-LARGEST, high=LARGEST),
        Field("_pace", "tracks", low=0, high=1),
        Field("_frames", kind=int, low=0, high=2**53),
    )

    def __init__(self, walks: Sequence[Walk], models: Models = MODELS) -> None:
        count = len(walks)
        self._models = models
        self._predict = [walk.predict for walk in walks]
        self._delay_s = [float(walk.delay) for walk in walks]
        self._told = np.array([np.nan if walk.noise is None else walk.noise for walk in walks], dtype=np.float64)
        self._hearings = [Hearing(walk.fastest) for walk in walks]
        self._heard = np.zeros((count, FLAT))
        self._queue: list[Queued] = []
        self._frames, self._awake, self._waits, self._jumps = 0, False, False, False
        self.place, self._last, self._stream = np.zeros((count, 3)), np.zeros((count, 3)), np.zeros(count)
        self.jumped = np.zeros(count, dtype=bool)
        self._bank, self._share = np.zeros((count, models.count, 6, 3)), np.tile(models.first, (count, 1))
        self._mean, self._anchor, self._at_s = np.zeros((count, 6, 3)), np.zeros((count, 3)), np.zeros(count)
        self._noise, self._proof = noise.first(count), speeds.first(count)
        self._now, self._pace = np.zeros((count, 3, 3)), np.zeros(count)
        self._know()

    @property
    def speed(self) -> Array:
        """(R, 3) m/s as it is led; zero where it is not."""
        return self._now[:, 1] * self._pace[:, None]

    @property
    def strays(self) -> np.ndarray:
        """(R,) how many observations were nothing."""
        return np.array([each.strays for each in self._hearings], dtype=np.intp)

    @property
    def held(self) -> np.ndarray:
        """(R,) an observation waits for another one to confirm it."""
        return np.array([each.held[0] > NEVER_S for each in self._hearings], dtype=bool)

    # What is seen

    def see(self, row: int, place: Point3, seen_s: float, velocity: Point3 | None = None) -> None:
        """It was seen here at this moment; `velocity` m/s where the input says it. Counts from the next `take_in`."""
        if self._predict[row]:
            self._queue.append((row, (seen_s - self._delay_s[row], place), velocity))
        else:
            self.put(row, place, seen_s)

    def still(self, row: int, now_s: float) -> None:
        """Whoever sees it is there, and says that nothing moves: it stands where it was seen last, also where that was
        too far off to be believed alone.

        Between observations that come as usual it says nothing new.
        """
        hearing = self._hearings[row]
        waits = any(which == row for which, *_ in self._queue)
        if (
            self._predict[row]
            and not waits
            and (hearing.held is not NOWHERE or hearing.overdue(now_s - self._delay_s[row]))
        ):
            spot = hearing.last if hearing.held is NOWHERE else hearing.held
            self.put(row, spot[1], now_s)

    def taken(self, row: int, now_s: float) -> None:
        """Somebody took it: what is seen next counts at once, however far off."""
        self._hearings[row].taken_s = now_s - self._delay_s[row]

    def unseen_from(self, row: int, now_s: float) -> Point3 | None:
        """Where it was seen last, while it is carried on by the model alone; None while it is seen, or stands."""
        hearing = self._hearings[row]
        carried = hearing.count == STREAM and hearing.overdue(now_s - self._delay_s[row])
        return hearing.last[1] if carried else None

    def put(self, row: int, place: Point3, now_s: float) -> None:
        """It is exactly here and stands; what was seen before does not count."""
        self._halt(row, place)
        self._hearings[row].put((now_s - self._delay_s[row], place))

    def stand(self, row: int, place: Point3) -> None:
        """It stands here; when it was seen last stays as it is."""
        self.put(row, place, self._hearings[row].last[0] + self._delay_s[row])

    def forget(self, row: int) -> None:
        """Nothing is known of it any more: it stays where it is, and what is seen next counts at once."""
        self._halt(row, self.place[row])
        self._hearings[row].forget()

    def _halt(self, row: int, place: Point3 | Array) -> None:
        self.place[row] = self._last[row] = place
        self._queue = [each for each in self._queue if each[0] != row]
        self._stream[row] = self._pace[row] = 0.0

    def take_in(self, now_s: float) -> None:
        """Take in what was seen, and take all on to now."""
        if not (self._awake or self._queue):
            return
        if self._jumps:
            self.jumped, self._jumps = np.zeros(len(self.jumped), dtype=bool), False
        if self._queue:
            self._take_queue(now_s)
        self._go_on(now_s)

    def ahead(self, rows: np.ndarray, later_s: Array) -> Array:
        """How far (K, 3) m each of `rows` (K,) will have gone from `place` so long (K,) s after the last `take_in`."""
        later_s = later_s * self._pace.take(rows)
        fade, now = self._models.fade, self._now.take(rows, axis=0)
        bend = (later_s + (np.exp(later_s * (-1.0 / fade)) - 1.0) * fade) * fade
        return now[:, 1] * later_s[:, None] + now[:, 2] * bend[:, None]

    # One frame

    def _take_queue(self, now_s: float) -> None:
        queue, self._queue = self._queue, []
        groups: dict[int, list[Group]] = {}
        for row, spot, velocity in sorted(queue, key=_by_time):
            self._judge(row, spot if spot[0] <= now_s else (now_s, spot[1]), velocity, groups)
        for number in range(max(map(len, groups.values()), default=0)):
            self._step({row: of_row[number] for row, of_row in groups.items() if number < len(of_row)})
        self._frames += bool(groups)
        if groups and self._frames % noise.EVERY == 0:
            self._learn([row for row in groups if self._stream[row]])

    def _judge(self, row: int, spot: Spot, velocity: Point3 | None, groups: dict[int, list[Group]]) -> None:
        """Add it to the last group of its row, or begin another. Nothing was seen later than now."""
        hearing = self._hearings[row]
        verdict = hearing.hear(spot, self._sigmas[row])
        if verdict is Verdict.NOTHING:
            self._waits |= hearing.held is not NOWHERE
            return
        self._last[row], self._stream[row] = spot[1], hearing.count == STREAM
        if verdict is Verdict.FOLLOWS:
            add_to(groups.setdefault(row, []), spot, velocity)
            return
        if verdict is Verdict.JUMPS:
            self.jumped[row] = self._jumps = True
        groups[row] = []
        self._at_s[row], self._anchor[row], self._mean[row] = spot[0], spot[1], 0.0
        self._bank[row], self._share[row] = self._models.begin(float(self.noise[row])), self._models.first

    def _step(self, groups: dict[int, Group]) -> None:
        """One group of each of these rows."""
        rows = np.array(list(groups))
        flat = np.array([merged(group) for group in groups.values()])
        at_s = flat[:, 0]
        bank, share = self._models.step(
            self._bank.take(rows, axis=0),
            self._share.take(rows, axis=0),
            self._mean.take(rows, axis=0),
            at_s - self._at_s.take(rows),
            flat[:, 1:4] - self._anchor.take(rows, axis=0),
            self._variance.take(rows) / flat[:, 4],
            self._axes.take(rows),
        )
        self._bank[rows], self._share[rows], self._at_s[rows] = bank, share, at_s
        self._mean[rows] = self._models.mean(bank, share)
        given = [group[-1][1] is not None for group in groups.values()]
        if any(given):
            speeds_seen = np.array([group[-1][1] for group in groups.values() if group[-1][1] is not None])
            self._take_speeds(rows[given], flat[given], speeds_seen)

    def _take_speeds(self, rows: np.ndarray, flat: Array, given: Array) -> None:
        proof, axes = self._proof[rows], self._axes[rows]
        speeds.compare(proof, flat[:, 0], flat[:, 1:4], given, self.noise[rows], axes)
        bank, share = speeds.take(self._models, self._bank[rows], self._share[rows], proof, given, axes)
        self._bank[rows], self._share[rows], self._proof[rows] = bank, share, proof
        self._mean[rows] = self._models.mean(bank, share)

    def _learn(self, rows: list[int]) -> None:
        if rows:
            spots = np.array([[(at_s, *place) for at_s, place in self._hearings[row].spots] for row in rows])
            self._noise[rows] = noise.learned(self._noise[rows], spots[:, :, 1:], spots[:, :, 0])
            self._know()

    def _know(self) -> None:
        """What follows from the noise found."""
        sigma = noise.sigma(self._noise)
        self._sigmas, self._axes = sigma.tolist(), noise.axes(self._noise)
        unknown = np.isnan(self._told)
        self.noise = np.where(unknown, sigma, self._told)
        self._variance = np.maximum(np.where(unknown, sigma * noise.CAREFUL, self._told), noise.FINEST_M) ** 2

    def _go_on(self, now_s: float) -> None:
        """All of it at this moment."""
        if self._waits:
            self._waits = sum(each.drop_held(now_s) for each in self._hearings) > 0
        gone_s, pace, worth = ageing.model_time((now_s - self._at_s) * self._stream)
        self._now = self._models.on(self._mean, gone_s)
        self._pace = pace * self._stream
        counts = worth * self._stream
        place = self._now[:, 0] + self._anchor
        place -= self._last
        place *= counts[:, None]
        place += self._last
        self.place = place
        self._awake = self._waits or self._jumps or bool(np.maximum.reduce(counts, initial=0.0) > 0.0)

    # Kept

    def state(self) -> Data:
        """As of `Part`, and what waits."""
        self._heard = np.array([each.flat() for each in self._hearings]).reshape(-1, FLAT)
        queue = [[row, at_s, *place, *(velocity or ())] for row, (at_s, place), velocity in self._queue]
        return super().state() | {"queue": queue}

    def restore(self, data: Any, seats: Seats) -> None:
        """As of `Part`, and what waited."""
        super().restore(data, seats)
        for hearing, flat in zip(self._hearings, self._heard.tolist(), strict=True):
            hearing.take_up(flat)
        heard = np.array([hearing.last[0] > NEVER_S for hearing in self._hearings], dtype=bool)
        last = np.array([hearing.last[1] for hearing in self._hearings]).reshape(-1, 3)
        self._last = np.where(heard[:, None], last, self.place)
        self._stream = np.array([hearing.count == STREAM for hearing in self._hearings], dtype=np.float64)
        self._awake = self._waits = True
        self._know()
        new = {int(old): row for row, old in enumerate(seats.rows["tracks"]) if old >= 0}
        waiting = data.get("queue") if isinstance(data, dict) else None
        for each in waiting[:QUEUED_MOST] if isinstance(waiting, list) else ():
            self._take_back(each, new)

    def _take_back(self, each: Any, new: dict[int, int]) -> None:
        """One observation that waited, of a row that is still there."""
        of = numbers_in(each, 5, -LATEST_S, LATEST_S) or numbers_in(each, 8, -LATEST_S, LATEST_S)
        row = None if of is None else new.get(int(of[0]))
        if of is not None and row is not None:
            velocity = (of[5], of[6], of[7]) if len(of) == 8 else None
            self._queue.append((row, (of[1], (of[2], of[3], of[4])), velocity))


def _by_time(each: Queued) -> float:
    return each[1][0]
