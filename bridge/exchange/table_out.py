"""A show's rig as CSV: the template for people, and what was solved. `read_table` reads it back and nothing changes.

RFC 4180: comma, quotes where they are needed, lines end in CR LF. UTF-8 with a BOM, without which spreadsheets take it
for the local code page. A text that a spreadsheet would reckon (= + - @ first) gets a ' before it, which reading takes
off. The decimal mark is a point.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence

from bridge.exchange.hang import hang_of
from bridge.geometry.frames import rotation_from_quaternion
from bridge.rig.fixture import Fixture, Hang, Pose
from bridge.show.folder import read_tree
from bridge.show.model import Show
from bridge.show.problems import Bad

RIG_HEADINGS = (
    "name", "number", "profile", "universe", "address", "x (m)", "y (m)", "z (m)", "yaw (deg)", "pitch (deg)",
    "roll (deg)", "truss", "unit (serial)", "follows", "outside", "lag (s)", "evenness", "at sigma (m)",
    "hang sigma (deg)",
)  # fmt: skip
SOLVED_HEADINGS = (
    "solved x (m)", "solved y (m)", "solved z (m)", "solved yaw (deg)", "solved pitch (deg)", "solved roll (deg)",
    "aim error rms (m)", "aim error 95 % (m)", "faces", "trusted", "solved at",
)  # fmt: skip
_RECKONED = re.compile(r"'*[-=+@]")
BOM = "\ufeff"


def write_table(show: Show) -> str:
    """One row a head in the show's order, a BOM first. Metres and degrees; an empty cell is a default, or unknown."""
    profiles = _written_profiles(show)
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([*RIG_HEADINGS, *SOLVED_HEADINGS])
    solved_at = show.poses_of.date if show.poses_of else ""
    for fixture in show.fixtures:
        rig = _rig_cells(fixture, profiles.get(fixture.name, fixture.profile.name))
        writer.writerow([*rig, *_solved_cells(show.poses.get(fixture.name), solved_at)])
    return BOM + out.getvalue()


def _rig_cells(fixture: Fixture, profile: str) -> list[str]:
    hang = fixture.hang
    return [
        _text(fixture.name), _text(fixture.number), _text(profile), str(fixture.universe), str(fixture.address),
        *(_numbers(fixture.at) if fixture.at else ["", "", ""]), *_numbers((hang.yaw, hang.pitch, hang.roll)),
        _text(fixture.truss), _text(fixture.unit), _text(fixture.follows),
        "" if fixture.outside == "dark" else fixture.outside,
        "" if fixture.lag is None else _number(fixture.lag), _text(fixture.evenness), _sigma(fixture.at_sigma),
        "" if hang.sigma == Hang().sigma else _number(hang.sigma),
    ]  # fmt: skip


def _solved_cells(pose: Pose | None, solved_at: str) -> list[str]:
    if pose is None:
        return [""] * len(SOLVED_HEADINGS)
    errors = ["" if error is None else _number(error) for error in (pose.aim_error_rms, pose.aim_error_p95)]
    turns = hang_of(rotation_from_quaternion(pose.rotation))
    return [
        *_numbers(pose.position), *_numbers(turns), *errors, " ".join(str(face) for face in pose.faces),
        "yes" if pose.trusted else "no", _text(solved_at),
    ]  # fmt: skip


def _written_profiles(show: Show) -> dict[str, str]:
    """What the rig's file calls each head's profile: a path in the folder or a built-in name, which a Show forgets."""
    try:
        tree, _ = read_tree(show.path / "rig.yaml")
    except (Bad, OSError):  # a show that is not from a folder, or whose folder is gone
        return {}
    fixtures = tree.get("fixtures")
    nodes = fixtures.value if fixtures is not None and isinstance(fixtures.value, list) else []
    pairs = [(node.get("name"), node.get("profile")) for node in nodes]
    return {name.text: profile.text for name, profile in pairs if name is not None and profile is not None}


def _text(text: str | None) -> str:
    return f"'{text}" if text and _RECKONED.match(text) else text or ""


def _sigma(sigma: Sequence[float] | None) -> str:
    """One length where all three are the same."""
    if sigma is None:
        return ""
    return " ".join(_numbers(sigma if len(set(sigma)) > 1 else sigma[:1]))


def _numbers(values: Sequence[float]) -> list[str]:
    return [_number(value) for value in values]


def _number(value: float) -> str:
    """Nine decimals, without the zeros at the end: far below what can be measured."""
    plain = f"{value:.9f}".rstrip("0").rstrip(".")
    return "0" if plain == "-0" else plain
