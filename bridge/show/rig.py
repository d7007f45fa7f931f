"""Schema of `rig.yaml`: what hangs where, and its patch."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from bridge.rig.fixture import AS_THE_REST, Fixture, Hang, Vector3
from bridge.rig.profile import Axis, Profile
from bridge.show.desk import desk_share
from bridge.show.folder import versioned
from bridge.show.keys import KeyReader
from bridge.show.problems import Bad, Problem, shown
from bridge.show.profile import LONGEST_LAG
from bridge.show.values import (
    MOST_UNIVERSE,
    Parse,
    choice,
    length,
    list_of,
    name,
    number,
    point3,
    rising,
    text,
    vector3,
    whole,
)
from bridge.show.yaml12 import Node

FindProfile = Callable[[Node], Profile]
_NO_PROFILE = Profile("?", 1, {}, Axis(-math.inf, math.inf), Axis(-math.inf, math.inf))


@dataclass(frozen=True)
class RigEntry:
    """A fixture and where the file says it; `good(KEY, ...)` tells whether these keys were read without a problem.

    What was not holds a stand-in, so that checks of the rest need not wait until it is mended.
    """

    fixture: Fixture
    node: Node
    good: Callable[..., bool]

    @property
    def written_name(self) -> str:
        """The name as a message shows it, also where it is none."""
        found = self.node.get("name")
        return shown(found.text) if found is not None and found.text else "?"


@dataclass(frozen=True)
class RigFile:
    """What could be read of `rig.yaml`."""

    name: str
    entries: tuple[RigEntry, ...]


def rig_names(node: Node | None) -> list[tuple[str, Node]]:
    """(name, its node) of every fixture in the file, those with problems included: nothing is blamed twice."""
    fixtures = node.get("fixtures") if node else None
    if fixtures is None or not isinstance(fixtures.value, list):
        return []
    named = [child.get("name") for child in fixtures.value]
    return [(found.text, found) for found in named if found is not None and found.text]


def read_rig(node: Node, find_profile: FindProfile) -> tuple[RigFile, list[Problem]]:
    """What could be read of the rig, and everything that is wrong in it."""
    kept: list[RigEntry] = []

    def one(child: Node) -> None:
        m = KeyReader(child, "a mapping with name, profile, universe and address")
        kept.append(RigEntry(_fixture(m, find_profile), child, m.good))
        m.done()

    def every(child: Node) -> None:
        list_of(one, 1, what="a list of fixtures, each beginning '- name: ...', a list")(child)

    show_name = ""
    try:
        top = versioned(node)
        show_name = top.optional("name", text, "")
        top.required("fixtures", every, None)
        top.done()
    except Bad as error:
        return RigFile(show_name, tuple(kept)), error.problems
    return RigFile(show_name, tuple(kept)), []


def _fixture(m: KeyReader, find_profile: FindProfile) -> Fixture:
    fixture_name = m.required("name", name, "?")
    profile = m.required("profile", find_profile, _NO_PROFILE)
    universe = m.required("universe", whole(1, MOST_UNIVERSE), 1)
    address = m.required("address", whole(1, 512), 1)
    hang = m.optional("hang", _hang, Hang())
    at, at_sigma = m.optional("at", point3, None), m.optional("at_sigma", sigmas, None)
    limits = m.optional("limits", _limits(profile), (None, None))
    fixture = Fixture(
        name=fixture_name,
        profile=profile,
        universe=universe,
        address=address,
        hang=hang,
        at=at,
        at_sigma=at_sigma,
        truss=m.optional("truss", name, None),
        unit=m.optional("unit", text, None),
        number=m.optional("number", text, None),
        follows=m.optional("follows", name, None),
        outside=m.optional("outside", choice("dark", "stay"), "dark"),
        pan_limits=limits[0],
        tilt_limits=limits[1],
        rest=m.optional("rest", _rest(profile, *limits), None),
        lag=m.optional("lag", number(0, LONGEST_LAG, unit="s"), None),
        evenness=m.optional("evenness", text, None),
        desk=m.optional("desk", desk_share, AS_THE_REST),
    )
    last = fixture.address + profile.footprint - 1
    if m.good("address", "profile") and last > 512:
        first = 513 - profile.footprint
        m.fail("address", f"found {fixture.address}, so its last channel is {last}, past 512; allowed is 1 to {first}")
    if m.good("at") and fixture.at_sigma is not None and at is None:
        m.fail("at_sigma", "found a sigma but no 'at'; allowed is a sigma beside a position")
    return fixture


def sigmas(node: Node) -> Vector3:
    """One length for all axes, or three."""
    one = length(0, above=True)
    if isinstance(node.value, list):
        return vector3(one, "one length or [x, y, z], a list")(node)
    value = one(node)
    return value, value, value


def _hang(node: Node) -> Hang:
    m = KeyReader(node)
    turn = number(-360, 360, unit="degrees")
    hang = Hang(
        yaw=m.optional("yaw", turn, 0.0),
        pitch=m.optional("pitch", turn, 0.0),
        roll=m.optional("roll", turn, 0.0),
        sigma=m.optional("sigma", number(0, 180, above=True, unit="degrees"), 1.0),
    )
    m.done()
    return hang


def axis_range(axis: Axis) -> tuple[float, float]:
    """(lowest, highest) degrees of an axis, whichever way it runs."""
    return min(axis.from_deg, axis.to_deg), max(axis.from_deg, axis.to_deg)


Pair = tuple[float, float]


def _limits(profile: Profile) -> Parse[tuple[Pair | None, Pair | None]]:
    def limit(axis: Axis) -> Parse[Pair]:
        return rising(number(*axis_range(axis), unit="degrees (the profile's range)"), "[lowest, highest], a list")

    def parse(node: Node) -> tuple[Pair | None, Pair | None]:
        m = KeyReader(node)
        pan = m.optional("pan", limit(profile.pan), None)
        tilt = m.optional("tilt", limit(profile.tilt), None)
        m.done()
        return pan, tilt

    return parse


def _rest(profile: Profile, pan_limits: Pair | None, tilt_limits: Pair | None) -> Parse[Pair]:
    pan_range, tilt_range = pan_limits or axis_range(profile.pan), tilt_limits or axis_range(profile.tilt)

    def parse(node: Node) -> Pair:
        pan, tilt = list_of(lambda child: child, 2, 2, "[pan, tilt], a list")(node)
        within = "degrees (limits)"
        return number(*pan_range, unit=within)(pan), number(*tilt_range, unit=within)(tilt)

    return parse
