"""The solver's pool against cones cast ray by ray: the offset of the axis, and poses from pools centred on marks.

Closed form and casting are those of test_pool_ellipse.py (conic sections, from memory); nothing of the solver is in
the data.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bridge.geometry.stage import Mark
from bridge.rig.fixture import Hang
from bridge.rig.profile import ZoomTable
from bridge.solve.calibrate import calibrate
from bridge.solve.measurements import Sighting
from bridge.solve.pool import axis_offset
from tests.standards.test_pool_ellipse import CASES, cast, closed_form, fitted
from tests.unit.solve import rigs_for_solve as rigs


@pytest.mark.parametrize(("half_deg", "incidence_deg"), CASES)
def test_the_solvers_offset_is_that_of_the_closed_form(half_deg, incidence_deg) -> None:
    """Seen from the lens, the axis is steeper than the line to the centre of its pool by just this much."""
    half, incidence = np.radians(half_deg), np.radians(incidence_deg)
    centre = np.arctan(closed_form(half, incidence, 1.0)[0])
    assert axis_offset(half, centre) == pytest.approx(centre - incidence, abs=1e-12)


def pool_sightings(heads, beam_deg, raw):
    """Sightings (deg) in which the fitted centre of the cast pool lies on each mark, by correcting the axis."""
    out = []
    for i, head in enumerate(heads):
        for name, mark in zip("ABCDE", rigs.FIVE, strict=True):
            mark = np.array(mark, float)
            at = mark.copy()
            for _ in range(40):
                axis = (at - head.p) / np.linalg.norm(at - head.p)
                section = cast(head.p, axis, np.radians(beam_deg / 2), mark[2], rays=24)
                at[:2] += mark[:2] - fitted(section[:, :2])[0]
            out.append(Sighting(f"h{i}", name, *map(float, head.angles_to(at)), zoom=raw))
    return out


@pytest.mark.parametrize("beam_deg", [4.0, 8.0, 12.0])
def test_poses_from_cast_pools_are_exact_where_it_is_said_and_not_where_the_axis_is_said(beam_deg) -> None:
    heads = rigs.rig(np.random.default_rng(4), 3)
    raw = 1000
    zoom = ZoomTable(((0, 60.0, None), (raw, beam_deg, None), (65535, 1.0, None)))
    profile = replace(rigs.PROFILE, footprint=8, channels={**rigs.PROFILE.channels, "zoom": (7, 8)}, zoom=zoom)
    fixtures = [replace(f, profile=profile, hang=Hang(sigma=5.0)) for f in rigs.fixtures(heads)]
    marks = [Mark(n, tuple(map(float, at)), sigma=1e-4) for n, at in zip("ABCDE", rigs.FIVE, strict=True)]
    seen = pool_sightings(heads, beam_deg, raw)
    off = {}
    for said in ("pool", "axis"):
        place = replace(rigs.stage(marks, aim_sigma=1e-3), sighted_by=said)
        found = calibrate(fixtures, place, seen).fixtures
        off[said] = max(np.linalg.norm(np.array(found[f"h{i}"].position) - h.p) for i, h in enumerate(heads))
    assert off["pool"] < 1e-3
    assert off["axis"] > 0.02
