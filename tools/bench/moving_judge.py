"""Judge of the figures for moving performers: real packets, virtual heads, and where the performer is at that moment.

The venue runs after the fact, in virtual time: every packet reaches its heads at the kernel's time of arrival, and
the beams are measured 100 times a second against the way that the performer goes. So a busy machine judges as a quiet
one does, and both daemons are judged by the same eyes.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from moving_drive import Driven, Way

from bridge.show.load import load
from bridge.venue.measure import FOLLOWING, Meter
from bridge.venue.simulation import Venue
from bridge.venue.truth import truth_from_poses

STEP_S, EVERY = 0.0025, 4
"""Four times as fine as the live venue: a head must not answer later than it says because a step was awaited."""
Array = np.ndarray


@dataclass(frozen=True)
class Judged:
    """By target: times (k,) s from the start, and per head errors (k, 12) m, nan where it was not lit on it, and
    where the beams meet the height of the performer's point, (k, 12, 2) m."""

    at_s: Array
    errors: Mapping[str, Array]
    landings: Mapping[str, Array]


def judge(start_s: float, ways: Mapping[str, Way], driven: Driven, seconds: float) -> Judged:
    """Play what was heard to a venue whose heads hang as the poses say."""
    show = load(driven.folder)
    truth = truth_from_poses(show)
    assert truth is not None, "the bench writes poses of all heads"
    venue = Venue(show, truth)
    meter = Meter(venue)
    queue = sorted((p.at_s - start_s, u, p.slots) for u, packets in driven.packets.items() for p in packets)
    of = {name: np.array([i for i, who in enumerate(venue.follows) if who == name]) for name in ways}
    at_s, errors, landings, taken = [], [], [], 0
    for number in range(round(seconds / STEP_S)):
        now_s = number * STEP_S
        while taken < len(queue) and queue[taken][0] <= now_s:
            venue.hear(*queue[taken][1:])
            taken += 1
        venue.step(STEP_S)
        if number % EVERY:
            continue
        for name, way in ways.items():
            venue.perform(name, *way.at(now_s))
        at_s.append(now_s)
        errors.append(np.where(_counts(venue), meter.current_error(), np.nan))
        landings.append(_landing(venue))
    every, landed = np.array(errors), np.array(landings)
    return Judged(np.array(at_s), {n: every[:, of[n]] for n in of}, {n: landed[:, of[n]] for n in of})


def _counts(venue: Venue) -> Array:
    """(n,): heads that are lit and follow a performer who is inside."""
    inside = {name: one.outside_by <= 0 for name, one in venue.performers.items()}
    return (venue.heads.state().level >= FOLLOWING) & np.array([inside.get(name, False) for name in venue.follows])


def _landing(venue: Venue) -> Array:
    """(n, 2): where each beam's axis meets the height of the point that it should light."""
    _, beams = venue.look()
    height = np.array([venue.performers[name].point[2] for name in venue.follows])
    far = (height - beams.start[:, 2]) / beams.ray[:, 2]
    return np.asarray((beams.start + far[:, None] * beams.ray)[:, :2])


def rms_p95(errors: Array) -> tuple[float, float]:
    """Of distances in metres, nan left out: RMS and 95 %, in centimetres."""
    seen = errors[np.isfinite(errors)]
    if not seen.size:
        return float("nan"), float("nan")
    return float(100 * np.sqrt((seen**2).mean())), float(100 * np.percentile(seen, 95))
