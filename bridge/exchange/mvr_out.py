"""A show as a new MVR (DIN SPEC 15801): heads where they hang, their patch, and a GDTF of each of their profiles."""

from __future__ import annotations

import re
import uuid
from collections.abc import Collection, Mapping
from xml.etree.ElementTree import Element, SubElement

from bridge import __version__
from bridge.exchange.gdtf_out import MAKER, MODE, NAMESPACE, gdtf_of, type_name
from bridge.exchange.mvr import SCENE
from bridge.exchange.names import slug, unlike
from bridge.exchange.placed import Placed, placed_heads
from bridge.exchange.writing import MM, matrix_text, plain, xml_octets, zip_octets
from bridge.rig.fixture import Fixture
from bridge.rig.profile import Profile
from bridge.show.model import Show

SLOTS = 512
_UUID = re.compile(r"[0-9A-Fa-f]{8}(-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}")


def new_mvr(show: Show, ids: Mapping[str, str] | None = None) -> bytes:
    """The archive. Heads whose place nobody knows are left out (`placed_heads` names them).

    `ids`: id -> fixture, as drawings that were imported know them; all others get one that stays from export to export.
    """
    placed, _ = placed_heads(show)
    heads = [fixture for fixture in show.fixtures if fixture.name in placed]
    types = _Types()
    root = Element("GeneralSceneDescription", verMajor="1", verMinor="6", provider=MAKER, providerVersion=__version__)
    scene = SubElement(root, "Scene")
    layers = SubElement(scene, "Layers")
    layer = SubElement(layers, "Layer", name=plain(show.name), uuid=own_id(show, "layer"))
    children = SubElement(layer, "ChildList")
    trusses = _trusses(show, heads)
    numbers, known = _numbers(heads), {name: id_ for id_, name in (ids or {}).items() if _UUID.fullmatch(id_)}
    units: dict[str | None, int] = {}
    for fixture in heads:
        units[fixture.truss] = units.get(fixture.truss, 0) + 1
        id_ = known.get(fixture.name) or own_id(show, f"fixture/{fixture.name}")
        element = SubElement(children, "Fixture", name=plain(fixture.name), uuid=id_)
        _fill(element, fixture, placed[fixture.name], types.file_of(fixture.profile), {
            "Position": trusses.get(fixture.truss or "", ""),
            "FixtureID": numbers[fixture.name],
            "FixtureIDNumeric": str(_whole(numbers[fixture.name])),
            "UnitNumber": str(units[fixture.truss]),
        })  # fmt: skip
    auxiliary = SubElement(scene, "AUXData")
    for name, id_ in trusses.items():
        SubElement(auxiliary, "Position", uuid=id_, name=plain(name))
    return zip_octets({SCENE: xml_octets(root), **types.files})


def own_id(show: Show, what: str) -> str:
    """The id by which this program names a part of a show, always the same."""
    return str(uuid.uuid5(NAMESPACE, f"{show.name}/{what}"))


class _Types:
    """One GDTF for each profile that heads have; `files` by their names in the archive."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}
        self._of: list[tuple[Profile, str]] = []

    def file_of(self, profile: Profile) -> str:
        found = next((name for known, name in self._of if known is profile or known == profile), None)
        if found is None:
            stem = unlike(f"{MAKER}@{slug(type_name(profile))}", [name.removesuffix(".gdtf") for name in self.files])
            found = f"{stem}.gdtf"
            self._of.append((profile, found))
            self.files[found] = gdtf_of(profile)
        return found


def _fill(element: Element, fixture: Fixture, placed: Placed, file: str, words: Mapping[str, str]) -> None:
    """The children of a Fixture, in the standard's order (from memory)."""
    SubElement(element, "Matrix").text = matrix_text(placed.rotation, placed.origin(fixture) * MM)
    SubElement(element, "GDTFSpec").text = file
    SubElement(element, "GDTFMode").text = MODE
    for tag, text in words.items():
        if text:
            SubElement(element, tag).text = plain(text)
    address = SubElement(SubElement(element, "Addresses"), "Address")
    address.set("break", "0")
    address.text = str((fixture.universe - 1) * SLOTS + fixture.address)


def _trusses(show: Show, heads: Collection[Fixture]) -> dict[str, str]:
    """Truss -> id, in the order in which heads name them."""
    names = dict.fromkeys(fixture.truss for fixture in heads if fixture.truss)
    return {name: own_id(show, f"truss/{name}") for name in names}


def _numbers(heads: Collection[Fixture]) -> dict[str, str]:
    """Each head's own `number`; the others get the next ones that are free."""
    taken = {fixture.number for fixture in heads if fixture.number}
    out, free = {}, 1
    for fixture in heads:
        if not fixture.number:
            while str(free) in taken:
                free += 1
            taken.add(str(free))
        out[fixture.name] = fixture.number or str(free)
    return out


def _whole(number: str) -> int:
    """A number as a whole one: as it is, or its digits; 0 where it has none."""
    digits = "".join(re.findall(r"[0-9]", number))[:9]
    return int(digits or 0)
