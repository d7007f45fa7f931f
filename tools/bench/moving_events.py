"""What happens once: a stop from a run, a sudden turn, a stray, bursts of loss, jitter, duplicates, reordering.

    python tools/bench/moving_events.py [--seed N]

The estimator alone in virtual time, as in moving_study. Each event many times over, at other phases of the frames.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from moving_study import FRAMES_HZ, LAG_S, Input, Seen, errors, figures, follow, frames_of, observe
from moving_walkers import DANCE, FINE_S, RUN, STAND, STROLL, Kind, at, walks

from bridge.follow.where.tracks import Tracks
from bridge.geometry.stage import Walk

EXACT, NOISY = Input("exact"), Input("2 cm, 20 ms old", 60, 0.02, 0.02)
EVENT_S, LONG_S = 4.0, 7.0
MANY = 40


def straight(change: Callable[[np.ndarray], np.ndarray]) -> np.ndarray:
    """(T, MANY, 3): a run of 5 m/s along x, in which `change` says the speed (T, 2) from EVENT_S on."""
    times_s = np.arange(0, LONG_S, FINE_S)
    speed = np.tile([5.0, 0.0], (len(times_s), 1)) * (times_s > 1)[:, None]
    late = times_s >= EVENT_S
    speed[late] = change(times_s[late] - EVENT_S)
    track = np.column_stack([np.cumsum(speed, axis=0) * FINE_S, np.full(len(times_s), 1.3)])
    return np.repeat(track[:, None], MANY, axis=1)


def stop(since_s: np.ndarray) -> np.ndarray:
    """Slowed down by 6 m/s²."""
    return np.column_stack([np.maximum(5.0 - 6.0 * since_s, 0.0), np.zeros_like(since_s)])


def turn(since_s: np.ndarray) -> np.ndarray:
    """To the left within 0.2 s, as quick as ever."""
    angle = np.minimum(since_s / 0.2, 1.0) * np.pi / 2
    return 5.0 * np.column_stack([np.cos(angle), np.sin(angle)])


def run(
    track: np.ndarray, given: Input, rng: np.random.Generator, spoil: Callable[[Seen], Seen] | None = None
) -> tuple[np.ndarray, np.ndarray, str]:
    """Places and points ahead (frames, MANY, 3) of performers seen so, and what was counted."""
    seen = [observe(track[:, row], given, LONG_S, rng) for row in range(track.shape[1])]
    seen = [spoil(each) for each in seen] if spoil else seen
    tracks = Tracks([Walk(delay=given.delay_s)] * len(seen))
    places, aims, jumps = follow(seen, tracks, LONG_S)
    return places, aims, f"strays {tracks.strays.sum()}, jumps {jumps}"


def stops(given: Input, rng: np.random.Generator) -> str:
    track = straight(stop)
    _, aims, _ = run(track, given, rng)
    shown_s = frames_of(LONG_S) + LAG_S + 0.5 / FRAMES_HZ
    end = track[-1, 0, 0]
    stopped_s = EVENT_S + 5.0 / 6.0
    over = (aims[:, :, 0] - end).max(axis=0)
    off = np.hypot(*np.moveaxis(aims[:, :, :2] - track[-1, :, :2], 2, 0)) > (0.02 if given.noise_m == 0 else 0.05)
    last = np.array([shown_s[np.flatnonzero(column)[-1]] - stopped_s for column in off.T])
    past = f"past by {100 * over.mean():.1f} cm (worst {100 * over.max():.1f})"
    return f"{past}, settled {last.mean():.2f} s (worst {last.max():.2f}) after"


def turns(given: Input, rng: np.random.Generator) -> str:
    track = straight(turn)
    _, aims, _ = run(track, given, rng)
    shown_s = frames_of(LONG_S) + LAG_S + 0.5 / FRAMES_HZ
    truth = at(track[:, 0], shown_s)
    off = np.hypot(*np.moveaxis(aims[:, :, :2] - truth[:, None, :2], 2, 0))
    worst = off[(shown_s > EVENT_S)].max(axis=0)
    later = (off > 0.1) & (shown_s > EVENT_S)[:, None] & (shown_s < EVENT_S + 1.0)[:, None]
    last = np.array(
        [(shown_s[np.flatnonzero(column)[-1]] if column.any() else EVENT_S) - EVENT_S for column in later.T]
    )
    far = f"off by {100 * worst.mean():.1f} cm (worst {100 * worst.max():.1f})"
    return f"{far}, within 10 cm {last.mean():.2f} s (worst {last.max():.2f}) after it began"


def stray(given: Input, kind: Kind, rng: np.random.Generator) -> str:
    """One observation 8 m off, instead of an honest one, against the same run without it."""
    track = walks([kind] * MANY, LONG_S, rng)
    seed = int(rng.integers(2**31))

    def spoil(seen: Seen) -> Seen:
        which = int(np.searchsorted(seen.arrives_s, EVENT_S))
        places = seen.places.copy()
        places[which] += [8.0, 0.0, 0.0]
        return replace(seen, places=places)

    def lose(seen: Seen) -> Seen:
        which = int(np.searchsorted(seen.arrives_s, EVENT_S))
        return Seen(*(np.delete(each, which, axis=0) for each in (seen.arrives_s, seen.stamped_s, seen.places)))

    _, aims, counted = run(track, given, np.random.default_rng(seed), spoil)
    _, without, _ = run(track, given, np.random.default_rng(seed), lose)
    off = np.linalg.norm(aims - without, axis=2)
    return f"moves the point ahead by {100 * off.max():.2f} cm; {counted}"


def losses(given: Input, kind: Kind, rng: np.random.Generator) -> str:
    """A burst of 0.5 s without observations, once a second and a half."""

    def spoil(seen: Seen) -> Seen:
        kept = (seen.arrives_s % 1.5) > 0.5
        return Seen(seen.arrives_s[kept], seen.stamped_s[kept], seen.places[kept])

    return worked(given, kind, rng, spoil)


def doubled(given: Input, kind: Kind, rng: np.random.Generator) -> str:
    """A third of all comes twice, the second up to 30 ms later."""

    def spoil(seen: Seen) -> Seen:
        twice = rng.random(len(seen.arrives_s)) < 1 / 3
        later_s = seen.arrives_s[twice] + rng.uniform(0, 0.03, twice.sum())
        arrives_s = np.concatenate([seen.arrives_s, later_s])
        stamps_s = np.concatenate([seen.stamped_s, seen.stamped_s[twice] if given.stamped else later_s])
        order = np.argsort(arrives_s, kind="stable")
        places = np.concatenate([seen.places, seen.places[twice]])
        return Seen(arrives_s[order], stamps_s[order], places[order])

    return worked(given, kind, rng, spoil)


def worked(given: Input, kind: Kind, rng: np.random.Generator, spoil: Callable[[Seen], Seen] | None = None) -> str:
    track = walks([kind] * MANY, LONG_S, rng)
    _, aims, counted = run(track, given, rng, spoil)
    off = np.concatenate([errors(aims[:, row], track[:, row], LONG_S) for row in range(MANY)])
    return f"{figures(off)} cm, {counted}"


def trembles(given: Input, rng: np.random.Generator) -> str:
    track = walks([STAND] * MANY, LONG_S, rng)
    places, aims, _ = run(track, given, rng)
    steps = [np.linalg.norm(np.diff(each[len(each) // 2 :], axis=0), axis=2) for each in (places, aims)]
    return ", ".join(
        f"{name} {1000 * np.sqrt((step**2).mean()):.1f} mm RMS, {1000 * np.quantile(step, 0.99):.1f} at 99 %"
        for name, step in zip(("place", "point ahead"), steps, strict=True)
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=1)
    rng = np.random.default_rng(parser.parse_args().seed)
    for given in (EXACT, NOISY):
        print(f"{given.name}: stop from 5 m/s        {stops(given, rng)}")
        print(f"{given.name}: turn of 90 degrees     {turns(given, rng)}")
        print(f"{given.name}: stands, frame to frame {trembles(given, rng)}")
        for kind in (STAND, RUN):
            print(f"{given.name}: stray, {kind.name:16} {stray(given, kind, rng)}")
        for kind in (STROLL, DANCE, RUN):
            print(f"{given.name}: bursts, {kind.name:15} {losses(given, kind, rng)}")
            for stamped in (False, True):
                word, seen = "stamped" if stamped else "arrival", replace(given, stamped=stamped)
                print(f"{given.name}: 200 ms, {word}, {kind.name:6} {worked(replace(seen, jitter_s=0.2), kind, rng)}")
                print(f"{given.name}: doubles, {word}, {kind.name:5} {doubled(seen, kind, rng)}")
            print(f"{given.name}: nothing, {kind.name:14} {worked(given, kind, rng)}")


if __name__ == "__main__":
    main()
