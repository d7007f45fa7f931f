"""The rows of solve_reality.py but for trusses and repairs: each builds a Scene from a random generator.

Unless a row says otherwise: 12 heads, 5 marks (four corners and the centre), 3 cm hands, 1 cm survey, 16 bits, no
zoom recorded. The plot errs by 0.2 m per axis, 0.1 m where it is said to be measured (`at_sigma`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import solve_reality_world as world
import solve_rigs as rigs
from solve_reality_show import NAMES, Scene, fixtures_of, profile_of, sightings_of, stage_of

from bridge.geometry.stage import Datum, Floor, Mark, Tape

FIVE, TWO = rigs.LAYOUTS[5], rigs.LAYOUTS[2]
ODD = [(-5.5, 0.5, 0), (5.0, 1.2, 0), (6.0, 7.0, 0), (-3.5, 7.8, 0), (0.8, 4.2, 0)]  # no symmetry at all
TAPED = [
    (0, 0, 0),
    (6, 0, 0),
    (6, 8, 0),
    (-6, 8, 0),
    (-6, 0, 0),
]  # the datum's frame: A its origin, B along x
MIRRORED = r"mirror|wrong side"
ONLY_MIRRORED = r"^(?!every pan).*(mirror|wrong side)"  # the plot tells it from pans that run the other way
TAPES = ((0, 1), (1, 2), (2, 3), (3, 4), (0, 3))


def scene(rng, layout=FIVE, written=None, plot=None, bits=16, backlash=0.0, right=None, stage=None, order=None,
          **quirks):  # fmt: skip
    """A show with these quirks of its heads. `written` turns surveyed marks (M, 3) into those of stage.yaml, `plot` is
    None, "hint" or "measured", `backlash` what the profile says, `order` the true mark behind each label."""
    heads, marks = world.invent(rng, layout, bits=bits, **quirks)
    seen = world.sight(rng, heads, marks if order is None else marks[list(order)])
    surveyed = marks + 0.01 * rng.standard_normal(marks.shape)
    noise = {None: None, "hint": 0.2, "measured": 0.1}[plot]
    at = None if noise is None else np.array([h.p for h in heads]) + noise * rng.standard_normal((len(heads), 3))
    beam = quirks.get("beam")
    profile = profile_of(bits, backlash, zoomed=beam is not None)
    fixtures = fixtures_of(heads, profile, at, noise if plot == "measured" else None)
    place = stage_of(surveyed if written is None else written(surveyed), **(stage or {}))
    return Scene(heads, fixtures, place, sightings_of(seen, beam), right)


def axis_scene(rng, said):
    """The axis was centred, with 8 deg beams on record."""
    out = scene(rng, stage={"sighted_by": said})
    profile = profile_of(zoomed=True)
    fixtures = [replace(f, profile=profile) for f in out.fixtures]
    return replace(out, fixtures=fixtures, sightings=[replace(s, zoom=30000) for s in out.sightings])


def unsurveyed(rng, tapes, wrong=None, surveyed=False):
    """Marks from tapes (1 cm) with a datum, or surveyed and taped; tape number `wrong` is half a metre off, by sign."""
    heads, marks = world.invent(rng, TAPED)
    seen = world.sight(rng, heads, marks)
    given = []
    for k, (a, b) in enumerate(tapes):
        length = np.linalg.norm(marks[a] - marks[b]) + 0.01 * rng.standard_normal()
        length += 0.5 * rng.choice([-1, 1]) if k == wrong else 0.0
        given.append(Tape((NAMES[a], NAMES[b]), float(length), 0.01))
    if surveyed:
        place = stage_of(marks + 0.01 * rng.standard_normal(marks.shape), tapes=tuple(given))
    else:
        bare = [Mark(NAMES[i], None, height=0.0) for i in range(5)]
        place = stage_of(bare, datum=Datum("A", "B"), tapes=tuple(given))
    right = None
    if wrong is not None:
        a, b = (NAMES[k] for k in tapes[wrong])
        right = rf"^(?=.*tape)(?=.*\b{a}\b)(?=.*\b{b}\b)"
    return Scene(heads, fixtures_of(heads, profile_of()), place, sightings_of(seen), right)


def taped_scale(rng):
    """All marks 2 % too far out, and two laser lengths that are true."""
    out = scene(rng, written=lambda m: 1.02 * m, right=SCALE)
    tapes = (Tape(("A", "B"), 12.0, 0.01), Tape(("B", "C"), 8.0, 0.01))
    return replace(out, stage=replace(out.stage, tapes=tapes))


def riser(rng, floors):
    """The last mark lies on a riser 0.6 m high; stage.yaml has it at z 0, with or without the riser among floors."""
    layout = [*FIVE[:4], (0, 4, 0.6)]
    more = {"floors": (Floor("riser", ((-2.0, 3.0), (2.0, 3.0), (2.0, 5.0), (-2.0, 5.0)), 0.6),)} if floors else {}
    right = r"^(?=.*\bE\b)(?=.*(height|riser|\bz\b|floor .*0\.6))"
    return scene(rng, layout, written=lambda m: m * [1, 1, 0], right=right, stage=more)


def crossed(rng, plot):
    """Two heads answer to each other's address."""
    out = scene(rng, plot=plot)
    a, b = (int(v) for v in rng.choice(12, 2, replace=False))
    swap = {f"h{a}": f"h{b}", f"h{b}": f"h{a}"}
    seen = [replace(s, fixture=swap.get(s.fixture, s.fixture)) for s in out.sightings]
    heads = list(out.heads)
    heads[a], heads[b] = heads[b], heads[a]
    right = rf"^(?=.*\bh{a}\b)(?=.*\bh{b}\b)(?=.*(cross|patch|address|answers|exchang))"
    return replace(out, heads=heads, sightings=sorted(seen, key=lambda s: int(s.fixture[1:])), right=right,
                   faulty=frozenset(swap))  # fmt: skip


def in_feet(rng):
    """The whole of stage.yaml in feet, the polygon too."""
    out = scene(rng, written=feet, right=r"feet|foot")
    area = out.stage.polygon.area
    area = replace(area, corners=tuple((x / 0.3048, y / 0.3048) for x, y in area.corners))
    return replace(out, stage=replace(out.stage, polygon=replace(out.stage.polygon, area=area)))


def feet(m):
    return m / 0.3048


def mirror(m):
    return m * [-1, 1, 1]


SCALE = r"scale|stretch"
BY_PLOT = rf"^(?!.*tapes).*({SCALE})"  # there are none
RANGE = r"^(?=.*\bpan\b)(?=.*\b53[678]\b)(?=.*(all|\b12\b))"  # to a degree, as one fault of the type
ROWS = {
    "nominal": lambda rng: scene(rng),
    "axis-said": lambda rng: axis_scene(rng, "axis"),
    "axis-unknown": lambda rng: axis_scene(rng, "unknown"),
    **{f"pool-{b}-said": lambda rng, b=b: scene(rng, beam=b, stage={"sighted_by": "pool"}) for b in (4, 6, 8, 10, 12)},
    **{f"pool-{b}-unknown": lambda rng, b=b: scene(rng, beam=b) for b in (4, 6, 8, 10, 12)},
    "eight-bit": lambda rng: scene(rng, bits=8),
    **{f"backlash-{b}": lambda rng, b=b: scene(rng, play=b, backlash=b) for b in (0.1, 0.2, 0.3)},
    **{f"backlash-{b}-both": lambda rng, b=b: scene(rng, play=b, backlash=b, steady=False) for b in (0.1, 0.3)},
    "range": lambda rng: scene(rng, pan_gain=537 / 540, right=RANGE),
    "range-plot": lambda rng: scene(rng, pan_gain=537 / 540, plot="hint", right=RANGE),
    "scale": lambda rng: scene(rng, written=lambda m: 1.02 * m, right=SCALE),
    "scale-tapes": taped_scale,
    "scale-plot": lambda rng: scene(rng, written=lambda m: 1.02 * m, plot="measured", right=BY_PLOT),
    "mirror-5": lambda rng: scene(rng, written=mirror, right=MIRRORED),
    "mirror-5-plot": lambda rng: scene(rng, written=mirror, plot="hint", right=ONLY_MIRRORED),
    "mirror-odd": lambda rng: scene(rng, ODD, written=mirror, right=MIRRORED),
    "mirror-odd-plot": lambda rng: scene(rng, ODD, written=mirror, plot="hint", right=ONLY_MIRRORED),
    "mirror-2": lambda rng: scene(rng, TWO, written=mirror, right=MIRRORED),
    # two marks that lie symmetrically: their exchange and the half turn are the same fault
    "mirror-2-plot": lambda rng: scene(rng, TWO, written=mirror, plot="hint", right=MIRRORED + "|A is really B"),
    "mirror-2-odd-plot": lambda rng: scene(rng, ODD[::2][:2], written=mirror, plot="hint", right=ONLY_MIRRORED),
    "feet": lambda rng: scene(rng, written=feet, right=r"feet|foot"),
    "feet-all": lambda rng: in_feet(rng),
    "feet-plot": lambda rng: scene(rng, written=feet, plot="hint", right=r"feet|foot"),
    "corner-half-plot": lambda rng: scene(rng, order=(2, 3, 0, 1, 4), plot="hint", right=r"corner|opposite|turned"),
    "corner-next": lambda rng: scene(rng, order=(1, 2, 3, 0, 4), right=r"corner|order|turned|labelled"),
    "riser": lambda rng: riser(rng, floors=False),
    "riser-floor": lambda rng: riser(rng, floors=True),
    "tapes-sound": lambda rng: unsurveyed(rng, TAPES),
    "tape-wrong": lambda rng: unsurveyed(rng, TAPES, int(rng.integers(5))),
    "tape-wrong-of-3": lambda rng: unsurveyed(rng, ((0, 1), (0, 2), (1, 2)), int(rng.integers(3))),
    "tape-wrong-surveyed": lambda rng: unsurveyed(rng, TAPES[:3], int(rng.integers(3)), surveyed=True),
    "plot-sound": lambda rng: scene(rng, plot="hint"),
    "plot-measured-sound": lambda rng: scene(rng, plot="measured"),
    "crossed": lambda rng: crossed(rng, "hint"),
    "crossed-measured": lambda rng: crossed(rng, "measured"),
}  # fmt: skip
