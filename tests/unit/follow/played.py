"""One row of the estimator, played frame by frame."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np

from bridge.follow.where.tracks import Tracks
from bridge.geometry.stage import Point3

FRAME_S = 1 / 44
LAG_S = 0.12
Sight = tuple[float, Point3]


def sights(path: Callable[[float], Point3], until_s: float, rate: float = 60.0, begin_s: float = 0.0) -> list[Sight]:
    return [(begin_s + n / rate, path(begin_s + n / rate)) for n in range(int((until_s - begin_s) * rate))]


def ahead(tracks: Tracks, later_s: float = LAG_S, row: int = 0) -> np.ndarray:
    return tracks.ahead(np.array([row]), np.array([later_s]))[0]


class Played:
    """One row: what it was at each frame."""

    def __init__(self, tracks: Tracks, seen: Iterable[Sight], until_s: float, begin_s: float = 0.0) -> None:
        self.tracks = tracks
        waiting = sorted(seen)
        self.times_s = np.arange(begin_s, until_s, FRAME_S)
        self.places, self.aims, self.jumps = [], [], []
        for now_s in self.times_s:
            while waiting and waiting[0][0] <= now_s:
                at_s, place = waiting.pop(0)
                tracks.see(0, place, at_s)
            tracks.take_in(now_s)
            self.places.append(tracks.place[0].copy())
            self.aims.append(tracks.place[0] + ahead(tracks))
            self.jumps.append(bool(tracks.jumped[0]))
        self.places, self.aims = np.array(self.places), np.array(self.aims)


def noisy(seen: list[Sight], sigma: float, seed: int = 1) -> list[Sight]:
    rng = np.random.default_rng(seed)
    return [(at_s, tuple((np.array(place) + rng.normal(0, sigma, 3)).tolist())) for at_s, place in seen]


def stands(_: float) -> Point3:
    return (1.25, -3.1, 1.3)


def walks_along(at_s: float) -> Point3:
    return (1.0 + 2.0 * at_s, 3.0 - 1.0 * at_s, 1.3)


def dances(at_s: float) -> Point3:
    return (4.0 + 2.0 * float(np.sin(1.3 * at_s)), 3.0 + 1.5 * float(np.cos(0.9 * at_s)), 1.3)
