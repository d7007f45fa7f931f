"""Rows of trusses that were carried over (`--from`) with one sighting a head, and of a big rig put right by advice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import solve_reality_world as world
import solve_rigs as rigs
from scipy.spatial.transform import Rotation
from solve_reality_show import NAMES, Scene, calibrate, fixtures_of, profile_of, sightings_of, stage_of

from bridge.rig.fixture import Pose
from bridge.solve.carry import CarriedPose

PER_TRUSS = 4
FIVE = rigs.LAYOUTS[5]


def earlier_poses(rng, heads, marks):
    """Poses of an evening before, solved from five marks, with their covariances."""
    seen = sightings_of(world.sight(rng, heads, marks))
    place = stage_of(marks + 0.01 * rng.standard_normal(marks.shape))
    answer = calibrate(fixtures_of(heads, profile_of()), place, seen)
    return {
        name: CarriedPose(Pose(f.position, f.rotation, faces=f.faces), f.covariance)
        for name, f in answer.fixtures.items()
    }


def carried(rng, fault=None, right=None, sightings=1, each=False):
    """Three trusses of four heads, moved as bodies (each head slips by 1 cm and 0.3 deg). One head of one, or of
    each, has the fault: exchanged (another unit hangs there, its yaw anywhere), along (hung 1 m along) or turned. Or
    the first truss is mirrored (its heads in the opposite order). Each head of a truss sights another mark;
    `sightings` is how many, for all or for each of the four."""
    heads, marks = world.invent(rng, FIVE)
    earlier = earlier_poses(rng, heads, marks)
    now, faulty, which = [], set(), []
    spoilt = range(3) if each else [int(rng.integers(3))]
    for first in range(0, len(heads), PER_TRUSS):
        there = moved_truss(rng, heads[first : first + PER_TRUSS])
        k = int(rng.integers(PER_TRUSS))
        if fault == "mirrored" and first == 0:
            there = [replace(h, p=o.p) for h, o in zip(there, there[::-1], strict=True)]
            faulty |= {f"h{i}" for i in range(PER_TRUSS)}
        elif fault not in (None, "mirrored") and first // PER_TRUSS in spoilt:
            there[k] = spoiled(rng, there, k, fault)
            faulty.add(f"h{first + k}")
        now += there
        order = rng.permutation(5)
        counts = [sightings] * PER_TRUSS if isinstance(sightings, int) else sightings
        which += [[int(order[(i + n) % 5]) for n in range(counts[i])] for i in range(PER_TRUSS)]
    seen = sightings_of(world.sight(rng, now, marks, which=which))
    fixtures = fixtures_of(now, profile_of(), per_truss=PER_TRUSS)
    place = stage_of(marks + 0.01 * rng.standard_normal(marks.shape))
    if right is not None:
        names = "|".join(sorted(faulty)) if fault != "mirrored" else "t0"
        right = rf"^(?=.*\b({names})\b)(?=.*({right}))"
    return Scene(now, fixtures, place, seen, right, earlier, frozenset(faulty))


def moved_truss(rng, heads):
    """A truss hung again: turned up to 0.2 rad, within 0.5 deg of level, shifted up to 1 m; heads slip a little."""
    middle = np.mean([h.p for h in heads], axis=0)
    tips = np.radians(0.5) * rng.standard_normal(2)
    T = rigs.rz(rng.uniform(-0.2, 0.2)) @ rigs.rx(tips[0]) @ rigs.ry(tips[1])
    shift = rng.uniform(-1, 1, 3) * [1, 1, 0.5]
    out = []
    for h in heads:
        slip = Rotation.from_rotvec(np.radians(0.3) * rng.standard_normal(3)).as_matrix()
        p = T @ (h.p - middle) + middle + shift + 0.01 * rng.standard_normal(3)
        out.append(replace(h, p=p, R=T @ h.R @ slip))
    return out


def spoiled(rng, heads, k, fault):
    """Head `k` of its truss with the fault."""
    head = heads[k]
    if fault == "exchanged":
        tips = np.radians(rng.standard_normal(2))
        return replace(head, R=rigs.rz(rng.uniform(-np.pi, np.pi)) @ rigs.rx(tips[0]) @ rigs.ry(tips[1]))
    if fault == "turned":
        return world.turned(head, float(rng.choice([90.0, -90.0, 180.0])))
    along = heads[-1].p - heads[0].p
    return replace(head, p=head.p + rng.choice([-1.0, 1.0]) * along / np.linalg.norm(along))


def spoil_sightings(rng, heads, marks, seen, share=0.1):
    """The sightings with a share of them wrong: on another mark, 3 deg off, or 0.3 to 1 m beside it, a third each.
    Returns them and which (head, mark) are wrong."""
    out, wrong = list(seen), set()
    for k in rng.choice(len(seen), int(share * len(seen)), replace=False):
        f, m = seen[k][:2]
        kind = int(rng.integers(3))
        if kind == 0:
            there = marks[int(rng.choice([x for x in range(len(marks)) if x != m]))]
        else:
            v = marks[m] - heads[f].p
            off = np.linalg.norm(v) * np.tan(np.radians(3)) if kind == 1 else rng.uniform(0.3, 1.0)
            turn = rng.uniform(0, 2 * np.pi)
            there = marks[m] + off * np.array([np.cos(turn), np.sin(turn), 0])
        out[k] = (f, m, *heads[f].sighted(rng, there + 0.03 * rng.standard_normal(3)))
        wrong.add((int(f), int(m)))
    return out, wrong


def followed(rng, tally, heads=200, most=12):
    """A crew that sights again whatever the tool names, until it names nothing more. Returns a line of figures."""
    hung, marks = world.invent(rng, FIVE, heads=heads - heads % 3)
    seen, wrong = spoil_sightings(rng, hung, marks, world.sight(rng, hung, marks))
    made, again, rounds = len(wrong), 0, 0
    place = stage_of(marks + 0.01 * rng.standard_normal(marks.shape))
    fixtures = fixtures_of(hung, profile_of())
    for rounds in range(1, most + 1):  # noqa: B007
        answer = calibrate(fixtures, place, sightings_of(seen))
        named = {pair for s in answer.suspects for pair in sightings_named(s)}
        if not named:
            break
        for k, (f, m, *_) in enumerate(seen):
            if (f, m) in named:
                seen[k] = (f, m, *hung[f].sighted(rng, marks[m] + 0.03 * rng.standard_normal(3)))
                wrong.discard((f, m))
                again += 1
    left = frozenset(f"h{f}" for f, _ in wrong)
    tally.add(rng, Scene(hung, fixtures, place, sightings_of(seen), faulty=left))
    return f"{made} wrong sightings, {len(wrong)} unfound after {rounds} rounds, {again} sighted again"


def sightings_named(suspect):
    """(head, mark) numbers that a suspect sends the crew to: a head without a mark means all its sightings again."""
    if suspect.fixture is None:
        return []
    f = int(suspect.fixture[1:])
    if suspect.mark is None:
        return [(f, m) for m in range(len(FIVE))]
    pair = [suspect.mark, suspect.instead] if suspect.kind == "swap" else [suspect.mark]
    return [(f, NAMES.index(m)) for m in pair]


SAID = {
    "exchanged": "another unit|exchanged|other unit|unit",
    "along": "moved|along|no longer|slipped|place|hung",
    "turned": "turned|rotated|exchanged|unit",
    "mirrored": "mirror|order|reversed|wrong way",
}
ROWS = {
    "sound-truss": lambda rng: carried(rng),
    "sound-truss-2": lambda rng: carried(rng, sightings=2),
    "sound-truss-half": lambda rng: carried(rng, sightings=(4, 4, 0, 0)),
}
for _fault, _said in SAID.items():
    ROWS[f"{_fault}-truss"] = lambda rng, f=_fault, s=_said: carried(rng, f, s)
    ROWS[f"{_fault}-truss-2"] = lambda rng, f=_fault, s=_said: carried(rng, f, s, sightings=2)
    if _fault != "mirrored":
        ROWS[f"{_fault}-each"] = lambda rng, f=_fault, s=_said: carried(rng, f, s, each=True)
