"""`.gdtf` (DIN SPEC 15800) -> a profile of ours: one mode of one fixture type."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from bridge.errors import FileRefused
from bridge.exchange.archive import MOST_XML, Archive
from bridge.exchange.found import Found, FoundProfile, Skipped
from bridge.exchange.gdtf_geometry import Head
from bridge.exchange.gdtf_modes import choose
from bridge.exchange.gdtf_ours import Missing
from bridge.exchange.gdtf_profile import Wanted, make_profile
from bridge.exchange.gdtf_source import whole_mode, without_sets
from bridge.exchange.names import slug
from bridge.exchange.xml_tree import Element

DESCRIPTION = "description.xml"


@dataclass(frozen=True)
class FixtureType:
    """An opened file. `name`: maker and type for people; `modes`: their names in the file's order, as it has them.

    `element`: its FixtureType without channel sets; `data`: the octets of its description.
    """

    what: str
    name: str
    modes: tuple[str, ...]
    element: Element
    data: bytes

    def mode(self, name: str) -> Element | None:
        """The first mode of exactly this name, with all that is in it."""
        found = next((each for each in _modes_of(self.element) if each.get("Name") == name), None)
        return None if found is None else whole_mode(self.data, found, self.what)


@dataclass(frozen=True)
class Taken:
    """What became of a mode. Without a `profile`, `skipped` or `questions` say why.

    `dmx_break`: that of the profile's address, from 1 (an MVR file counts them from 0); `more_breaks`: others that the
    mode has too, with their footprints. `head`: its geometry. `unfit`: what was read of a mode that cannot be used.
    """

    profile: FoundProfile | None = None
    questions: tuple[str, ...] = ()
    skipped: tuple[Skipped, ...] = ()
    notes: tuple[str, ...] = ()
    dmx_break: int = 1
    more_breaks: tuple[tuple[int, int], ...] = ()
    head: Head | None = None
    unfit: FoundProfile | None = None


def open_gdtf(source: Path | bytes, what: str) -> FixtureType:
    """Raises FileRefused with what is wrong where this is no GDTF file."""
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
    element = without_sets(data, f"{what}, '{member}'")
    modes = tuple(mode.get("Name") for mode in _modes_of(element))
    return FixtureType(what, _name_of(element), modes, element, data)


def profile_of(
    fixture: FixtureType, mode: str, invert_pan: bool = False, invert_tilt: bool = False, drawn: bool = True
) -> Taken:
    """One mode as a profile; inverted axes have their angles the other way (MVR's DMXInvertPan, DMXInvertTilt).

    `drawn`: for fixtures whose rotation a drawing gives, so that the file's geometry counts for the zero of pan too.
    """
    element = fixture.mode(mode)
    if element is None:
        listed = ", ".join(f"'{name[:40]}'" for name in fixture.modes[:20])
        why = f"the file has no such mode; it has {listed}"
        return Taken(skipped=(Skipped(f"{fixture.name}, mode '{mode[:60]}'", why),))
    name = f"{fixture.name}, {mode}" if mode else fixture.name
    try:
        made = make_profile(fixture.element, element, Wanted(_line(name), (invert_pan, invert_tilt), drawn))
    except Missing as missing:
        return Taken(skipped=(Skipped(_line(f"{fixture.name}, mode '{mode}'"), str(missing)),))
    turned = "".join(text for on, text in ((invert_pan, ", pan inverted"), (invert_tilt, ", tilt inverted")) if on)
    made.document["name"] += turned
    profile = FoundProfile(
        key=f"{fixture.what}|{mode}{turned}",
        stem=_stem(fixture, mode, turned),
        source=fixture.what,
        mode=mode,
        document=made.document,
        why={path: _line(text, 300) for path, text in made.said.why.items()},
        confirm=tuple(dict.fromkeys(made.confirm)),
    )
    questions = tuple(_line(text, 600) for text in made.said.questions)
    notes = tuple(_line(text, 600) for text in made.said.notes)
    if made.unfit:
        return Taken(skipped=(Skipped(_line(f"{fixture.name}, mode '{mode}'"), made.unfit),), unfit=profile)
    return Taken(profile, questions, (), notes, made.dmx_break, made.more_breaks, made.head)


def read_gdtf(source: Path | bytes, what: str, mode: str | None = None) -> Found:
    """A whole file: the wanted mode, else the only one that can be meant, else the question which.

    Raises FileRefused where it is no GDTF file.
    """
    fixture = open_gdtf(source, what)
    if not fixture.modes:
        return Found(
            skipped=(Skipped(_line(fixture.name), "the file has no DMX mode: it is a stub, or of another kind"),)
        )
    chosen = choose(_modes_of(fixture.element), mode, "")
    if chosen.mode is None:
        asks = (chosen.ask,) if chosen.ask is not None else ()
        return Found(asks=asks, questions=tuple(_line(ask.text, 4000) for ask in asks))
    taken = profile_of(fixture, chosen.mode, drawn=False)
    return Found(
        profiles=(taken.profile,) if taken.profile is not None else (),
        questions=taken.questions,
        skipped=taken.skipped,
        notes=tuple(filter(None, (_line(chosen.note, 600), *taken.notes))),
        unfit=(taken.unfit,) if taken.unfit is not None else (),
    )


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


def _line(text: str, most: int = 120) -> str:
    """One printable line."""
    return "".join(char if char.isprintable() else " " for char in text)[:most].strip()


def _stem(fixture: FixtureType, mode: str, turned: str) -> str:
    parts = [slug(fixture.name)[:36]]
    if len(fixture.modes) > 1:
        parts.append(slug(mode, "mode")[:20])
    parts += [each for each in ("pan", "tilt") if each in turned] + (["inverted"] if turned else [])
    return slug("-".join(parts))
