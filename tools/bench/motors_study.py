"""Would it help to lead heads further while their motors do not keep up? The real engine and the venue's heads.

    python tools/bench/motors_study.py [--seed 2] [--seconds 60] [--black]

Twelve heads, eight of them near the stage, every other one slow (80 and 60 deg/s); performers as in moving_walkers and
one who runs close by the heads, with stops and turns; exact places 60 times a second. RMS, 95 % and worst of the lit
beams, cm, in all frames and in those within 0.3 s of one in which a head is behind without a further lead. Nobody goes
dark for being late, lest a way is praised for darkening the worst; with --black heads do as always.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path

import numpy as np
from moving_walkers import DANCE, FINE_S, RUN, STROLL, at, walks
from scipy.spatial.transform import Rotation

from bridge.door.door import Made, make
from bridge.follow.engine import Engine
from bridge.follow.who.crew import legs_of
from bridge.geometry.mechanics import miss_distance
from bridge.geometry.stage import Area, PerformancePolygon, Stage, Target
from bridge.rig.fixture import Fixture, Pose
from bridge.rig.profile import Axis, Profile, ZoomTable
from bridge.show.model import Show
from bridge.venue.truth import FixtureTruth
from bridge.venue.virtual_heads import VirtualHeads
from bridge.wire.settings import Network

FRAME_S, STEPS, RATE_HZ, SETTLED = 1 / 44, 4, 60.0, 4 * 44
CORNERS = ((-6.0, 0.0), (6.0, 0.0), (6.0, 8.0), (-6.0, 8.0))
FAR = [(x, -10.0, 8.0) for x in (-4.5, -1.5, 1.5, 4.5)]
BOOMS = [(x, y, 2.6) for x in (-7.0, 7.0) for y in (2.0, 6.0)]
CLOSE = [(-3.0, 9.0, 4.5), (3.0, 9.0, 4.5), (-2.0, -0.8, 4.0), (2.0, -0.8, 4.0)]
PLACES = [*FAR, *BOOMS, *CLOSE]
CHANNELS = {"pan": (1, 2), "tilt": (3, 4), "dimmer": (5, 6), "zoom": (7, 8), "focus": (9, 10)}
ROUND = ((-5.9, 0.5), (-5.9, 7.5), (5.9, 7.5), (5.9, 0.5), (-5.0, 0.3), (-2.0, 0.3), (2.0, 0.3), (5.5, 0.3))
Lead = Callable[[Engine, dict[str, np.ndarray]], np.ndarray]


def further(want: np.ndarray, kept: dict[str, np.ndarray], up: float, down: float) -> np.ndarray:
    """Towards what is wanted, s, by at most so much per second."""
    was = kept.get("more", np.zeros_like(want))
    kept["more"] = was + np.clip(want - was, -down * FRAME_S, up * FRAME_S)
    return kept["more"]


def as_late(cap_s: float) -> Lead:
    """By the time that the motors need for what they are behind."""

    def more(engine: Engine, kept: dict[str, np.ndarray]) -> np.ndarray:
        motors = engine.moving.motors
        late = (np.abs(motors._setpoint - motors.angle) / motors._top).max(axis=0) * engine.moving._jumps.settled
        return further(np.minimum(late, cap_s), kept, np.inf, cap_s / 0.3)

    return more


def until_caught_up(cap_s: float) -> Lead:
    """To where the motors meet the performer, if both go on as they do."""

    def more(engine: Engine, kept: dict[str, np.ndarray]) -> np.ndarray:
        motors = engine.moving.motors
        gap = motors._setpoint - motors.angle
        own = (motors._setpoint - kept.get("goal", motors._setpoint)) / FRAME_S
        kept["goal"] = motors._setpoint.copy()
        closing = motors._top - np.sign(gap) * own
        time_s = np.where(closing > 0.05 * motors._top, np.abs(gap) / np.maximum(closing, 1e-9), cap_s)
        want = np.minimum((time_s * (np.abs(gap) > 1e-9)).max(axis=0) * engine.moving._jumps.settled, cap_s)
        return further(want, kept, cap_s / 0.05, cap_s / 0.3)

    return more


def beforehand(ahead_s: float) -> Lead:
    """By half of what the motors will be late within so long, if the performer goes on."""

    def more(engine: Engine, kept: dict[str, np.ndarray]) -> np.ndarray:
        rig, motors, lag = engine.rig, engine.moving.motors, engine.rig.lag
        rows, tracks = np.zeros(len(lag), dtype=np.intp), engine.place.steering.tracks
        place, late_s = np.array(engine.place.points(engine._last_s)[0]), np.zeros(len(lag))

        def angles(later_s: float) -> np.ndarray:
            pan, tilt, _ = rig.heads.aim_on(engine.reach._side, place + tracks.ahead(rows, lag + later_s))
            return np.array([pan, tilt])

        now = angles(0.0)
        for time_s in (ahead_s / 2, ahead_s):
            way = np.abs((angles(time_s) - now + np.pi) % (2 * np.pi) - np.pi)
            lacks = np.maximum(way - motors._top * time_s, 0.0)
            late_s = np.maximum(late_s, (lacks * time_s / np.maximum(way, 1e-9)).max(axis=0))
        return further(0.5 * late_s * engine.moving._jumps.settled, kept, 2.0, 2.0)

    return more


WAYS: dict[str, Lead | None] = {
    "no further": None,
    "as late, 0.2 s": as_late(0.2),
    "until caught up, 0.1 s": until_caught_up(0.1),
    "until caught up, 0.2 s": until_caught_up(0.2),
    "beforehand, 0.4 s": beforehand(0.4),
}


def passing(seconds: float, rng: np.random.Generator) -> np.ndarray:
    """(T, 3) m every FINE_S: a runner along the edges, close by the heads, who stops and turns at any moment."""
    place, speed, goal, waits = np.array([0.0, 4.0]), np.zeros(2), 0, 0.0
    out = np.empty((int(seconds / FINE_S) + 1, 3))
    for step in range(len(out)):
        way = ROUND[goal] - place
        left = max(float(np.hypot(*way)), 1e-6)
        if left < 0.15 or (left < 1.0 and rng.random() < 0.004):
            goal, waits = int(rng.integers(len(ROUND))), 0.5 if rng.random() < 0.3 else 0.0
        wanted = min(RUN.speed, np.sqrt(1.8 * RUN.acceleration * left)) * (waits <= 0)
        change = way / left * wanted - speed
        speed = speed + change * min(1.0, RUN.acceleration * FINE_S / max(float(np.hypot(*change)), 1e-12))
        place, waits = place + speed * FINE_S, waits - FINE_S
        out[step] = (*place, 1.3)
    return out


def venue(seed: int, black: bool) -> tuple[Made, VirtualHeads]:
    """The show, and its heads as they are."""
    rng, fixtures, poses, truths = np.random.default_rng(seed), [], {}, []
    for n, place in enumerate(PLACES):
        limits = ((80.0, 250.0), (60.0, 200.0)) if n % 2 else ((200.0, 700.0), (200.0, 700.0))
        axes = Axis(-270.0, 270.0, *limits[0]), Axis(-135.0, 135.0, *limits[1])
        zoom = ZoomTable(((0.0, 55.0, None), (65535.0, 5.0, None)))
        profile = Profile(f"made up {n % 2}", 16, CHANNELS, *axes, zoom=zoom, min_distance=0.5, lag=0.12)
        turn = Rotation.from_euler("ZYX", [rng.uniform(-30, 30), *rng.normal(0, 1, 2)], degrees=True)
        x, y, z, w = turn.as_quat().tolist()
        fixtures.append(Fixture(f"head-{n}", profile, 1, 1 + 16 * n, at=place))
        poses[f"head-{n}"] = Pose(place, (x, y, z, w))
        truths.append(FixtureTruth(place, (x, y, z, w), dead_time_s=0.08, smoothing_s=0.04))
    polygon = PerformancePolygon(Area("performance_polygon", CORNERS, (-0.5, 4.0)), margin=1.0)
    after_s = 0.6 if black else 9.0
    stage = Stage(polygon=polygon, marks={}, targets=(Target("lead"),), move_in_black_after=after_s)
    show = Show(Path("made-up"), "made up", tuple(fixtures), stage, Network(), poses=poses)
    return make(show), VirtualHeads(show.fixtures, truths)


def follow(track: np.ndarray, lead: Lead | None, seed: int, black: bool) -> np.ndarray:
    """(3, frames, N): how far off the beams are, m; whether they are lit, and whether their motors are behind."""
    (made, heads), kept = venue(seed, black), dict[str, np.ndarray]()
    engine, said = made.engine, 0
    if lead is not None:
        engine.crew.legs = lambda: legs_of(engine.crew.follows, engine.rig.lag + lead(engine, kept))  # type: ignore[method-assign]
    out = []
    for number in range(int((len(track) - 1) * FINE_S / FRAME_S)):
        now_s = number * FRAME_S
        while said / RATE_HZ <= now_s:
            engine.came_s = said / RATE_HZ
            x, y, _ = at(track, np.array([engine.came_s]))[0].tolist()
            made.commands.handle("/target/lead/position", (x, y), "127.0.0.1", now_s)
            said += 1
        octets = made.encoder.encode(engine.tick(now_s))[0].tobytes()
        heads.hear(1, octets)
        for _ in range(STEPS):
            heads.step(FRAME_S / STEPS)
        is_now = heads.state()
        beams = engine.rig.heads.beam(is_now.pan_rad, is_now.tilt_rad)
        miss = miss_distance(*beams, np.tile(at(track, np.array([now_s + FRAME_S])), (len(PLACES), 1)))
        out.append([miss, is_now.level > 0.05, engine.moving.motors.trailing])
    return np.array(out[SETTLED:]).transpose(1, 0, 2)


def figures(miss: np.ndarray) -> str:
    """RMS, 95 % and worst, cm."""
    if not miss.size:
        return "nobody"
    return f"{100 * np.sqrt((miss**2).mean()):5.1f} {100 * np.quantile(miss, 0.95):5.1f} {100 * miss.max():5.1f}"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seed", type=int, default=2)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--black", action="store_true")
    given = parser.parse_args()
    for name, kind in (("passes", None), ("stroll", STROLL), ("dance", DANCE), ("run", RUN)):
        rng = np.random.default_rng(given.seed)
        track = passing(given.seconds, rng) if kind is None else walks([kind], given.seconds, rng)[:, 0] - (6.0, 0, 0)
        near = None
        for way, lead in WAYS.items():
            miss, lit, late = follow(track, lead, given.seed, given.black)
            if near is None:
                near = np.array([late[max(n - 13, 0) : n + 14].any(axis=0) for n in range(len(late))])
            all_lit = lit > 0
            quick, slow = all_lit[:, 0::2], all_lit[:, 1::2]
            print(
                f"{name:7s}{way:23s} lit {100 * all_lit.mean():5.1f} %, late {100 * late.mean():4.1f} %"
                f" | near {figures(miss[all_lit & near])} | all {figures(miss[all_lit])}"
                f" | quick {figures(miss[:, 0::2][quick])} | slow {figures(miss[:, 1::2][slow])}",
                flush=True,
            )


if __name__ == "__main__":
    main()
