"""What the plot alone (`at` and `hang` in rig.yaml) says of heads: before the solve, and against it afterwards."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping

from bridge.geometry.frames import quaternion_from_rotation, rotation_from_hang
from bridge.geometry.stage import Point3
from bridge.rig.fixture import Fixture, Pose

HINT_M = 0.7  # a rough place may be so far off before it is told
SIGMAS = 3.0  # ... and one with `at_sigma` so many of its sigmas, per axis


def plot_poses(fixtures: Iterable[Fixture], known: Mapping[str, Pose]) -> dict[str, Pose]:
    """Poses, by the plot, of the fixtures that have `at` and no known pose; never trusted. Their yaw is nominal: nobody
    knows the true one."""
    return {f.name: _pose(f, f.at) for f in fixtures if f.at is not None and f.name not in known}


def _pose(fixture: Fixture, at: Point3) -> Pose:
    hang = fixture.hang
    turn = rotation_from_hang(*(math.radians(angle) for angle in (hang.yaw, hang.pitch, hang.roll)))
    x, y, z, w = (float(part) for part in quaternion_from_rotation(turn))
    return Pose(at, (x, y, z, w), trusted=False, verified=False)


def off_the_plot(
    fixtures: Iterable[Fixture], solved: Mapping[str, Point3], verified: Collection[str] = ()
) -> dict[str, str]:
    """Words for each head that was solved further from its `at` than a plot is wrong; of a verified one, that it is."""
    rig = [fixture for fixture in fixtures if fixture.at is not None]
    places = {fixture.name: fixture.at for fixture in rig}
    out = {}
    for fixture in rig:
        place = solved.get(fixture.name)
        if fixture.at is None or place is None or not _is_off(fixture.at, fixture.at_sigma, place):
            continue
        away = math.dist(fixture.at, place)
        dx, dy, dz = (b - a for a, b in zip(fixture.at, place, strict=True))
        text = f"solved {away:.2f} m from its place in the plot (dx {dx:+.2f}, dy {dy:+.2f}, dz {dz:+.2f})"
        near = [n for n, at in places.items() if n != fixture.name and at and math.dist(at, place) < min(HINT_M, away)]
        if near:
            nearest = min(near, key=lambda n: math.dist(places[n] or place, place))
            text += f", where the plot has {nearest}: are the two crossed in the patch, or is the plot old?"
        elif fixture.name in verified:
            text += ", and no mistake in a sighting could hide so much: mend `at`"
        else:
            text += ": hung elsewhere, or are its sightings another head's? Look, then mend `at` or sight it again"
        out[fixture.name] = text
    return out


def _is_off(at: Point3, sigma: Point3 | None, place: Point3) -> bool:
    """By more than its `at_sigma` allows, or, for a hint, by more than HINT_M."""
    if sigma is None:
        return math.dist(at, place) > HINT_M
    return any(abs(b - a) > SIGMAS * s for a, b, s in zip(at, place, sigma, strict=True))
