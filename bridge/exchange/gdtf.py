"""`.gdtf` (DIN SPEC 15800) -> a profile of ours: one mode of one fixture type."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from bridge.errors import FileRefused
from bridge.exchange.archive import MOST_XML, Archive
from bridge.exchange.found import Found, FoundProfile, Skipped
from bridge.exchange.xml_tree import Element, parse_xml

DESCRIPTION = "description.xml"
UNREAD = frozenset({"Revisions", "FTPresets", "FTMacros", "Macros", "Filters", "Emitters", "CRIs", "ThumbnailOffset"})
"""Parts that say nothing of bytes, axes or beams, and may be large."""


@dataclass(frozen=True)
class FixtureType:
    """An opened file. `name`: maker and type for people; `modes`: their names in the file's order, as it has them."""

    what: str
    name: str
    modes: tuple[str, ...]
    element: Element

    def mode(self, name: str) -> Element | None:
        """The first mode of exactly this name."""
        return next((each for each in _modes_of(self.element) if each.get("Name") == name), None)


@dataclass(frozen=True)
class Taken:
    """What became of a mode. Without a `profile`, `skipped` or `questions` say why.

    `dmx_break`: that of the profile's address, from 1 (an MVR file counts them from 0); `more_breaks`: others that the
    mode has too, with their footprints.
    """

    profile: FoundProfile | None = None
    questions: tuple[str, ...] = ()
    skipped: tuple[Skipped, ...] = ()
    notes: tuple[str, ...] = ()
    dmx_break: int = 1
    more_breaks: tuple[tuple[int, int], ...] = ()


def open_gdtf(source: Path | bytes, what: str) -> FixtureType:
    """Raises FileRefused with what is wrong where this is no GDTF file, or has no DMX mode."""
    archive = Archive(source, what)
    try:
        member = archive.find(DESCRIPTION)
        if member is None:
            raise FileRefused(
                f"{what}: found no '{DESCRIPTION}' in it, which every GDTF file has: is it another archive?"
            )
        data = archive.read(member, MOST_XML)
    finally:
        archive.close()
    root = parse_xml(data, f"{what}, '{member}'", UNREAD)
    element = root if root.tag == "FixtureType" else root.first("FixtureType")
    if element is None:
        raise FileRefused(f"{what}: found '{root.tag[:40]}' in '{member}', expected a 'GDTF' with a 'FixtureType'")
    modes = tuple(mode.get("Name") for mode in _modes_of(element))
    return FixtureType(what, _name_of(element), modes, element)


def profile_of(fixture: FixtureType, mode: str, invert_pan: bool = False, invert_tilt: bool = False) -> Taken:
    """One mode as a profile; inverted axes have their angles the other way (MVR's DMXInvertPan, DMXInvertTilt)."""
    raise NotImplementedError


def read_gdtf(source: Path | bytes, what: str, mode: str | None = None) -> Found:
    """A whole file: the wanted mode, else the only one that can be meant, else the question which.

    Raises FileRefused where it is no GDTF file.
    """
    raise NotImplementedError


def _modes_of(element: Element) -> list[Element]:
    return list(element.below("DMXModes", "DMXMode"))


def _name_of(element: Element) -> str:
    """`Maker Type`; the maker's name once."""
    maker, name = (
        element.get("Manufacturer"),
        element.get("Name") or element.get("LongName") or element.get("ShortName"),
    )
    if maker and name.casefold().startswith(maker.casefold()):
        return name
    return " ".join(filter(None, (maker, name))) or "unnamed fixture type"
