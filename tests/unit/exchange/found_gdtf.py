"""What our reader makes of a mode of made channels, as a show must take it."""

from __future__ import annotations

from bridge.exchange.found import Found, FoundProfile
from bridge.exchange.gdtf import read_gdtf
from bridge.rig.profile import Profile
from bridge.show.emit import to_yaml
from bridge.show.profile import read_profile
from bridge.show.yaml12 import parse
from tests.unit.exchange.made_gdtf import GEOMETRIES, Channel, Mode, build_gdtf


def found_in(*channels: Channel, geometries: str = GEOMETRIES) -> Found:
    return read_gdtf(build_gdtf([Mode("A", channels)], geometries=geometries), "a.gdtf")


def made_of(*channels: Channel, geometries: str = GEOMETRIES) -> tuple[FoundProfile, Profile]:
    """The profile, which a show must take as it stands."""
    found = found_in(*channels, geometries=geometries)
    assert found.skipped == ()
    node, problems = parse("version: 1\n" + to_yaml(found.profiles[0].document))
    assert problems == []
    return found.profiles[0], read_profile(node)
