"""The fixture types of an MVR: the GDTF files inside it, each read once and only in the modes that are in use."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from bridge.errors import FileRefused
from bridge.exchange.archive import Archive
from bridge.exchange.found import Ask, FoundProfile
from bridge.exchange.gdtf import FixtureType, open_gdtf, profile_of
from bridge.exchange.gdtf_geometry import IDENTITY, Rows
from bridge.exchange.gdtf_modes import can_follow, choose
from bridge.exchange.mvr_says import Says, listed, shown
from bridge.exchange.names import unlike

MOST_GDTF = 120_000_000
MOST_USES = 400


class Use(NamedTuple):
    """A type as a fixture names it (GDTFSpec, GDTFMode), and whether its patch inverts an axis."""

    spec: str
    mode: str
    invert_pan: bool = False
    invert_tilt: bool = False


class Known(NamedTuple):
    """What is known of fixtures of one type and mode. No profile: no head (`why`), or not known (`why` is "").

    `breaks`: that of pan and tilt, from 1. `base`: rows (3, 3), by which our fixture frame is turned in the drawing's.
    """

    profile: FoundProfile | None = None
    why: str = ""
    breaks: int = 1
    base: Rows = IDENTITY


@dataclass
class Types:
    """All types in use. `used`: each use -> the names of its fixtures; `mode`: a person's answer."""

    archive: Archive
    used: Mapping[Use, Sequence[str]]
    says: Says
    mode: str | None = None
    asks: list[Ask] = field(default_factory=list)
    profiles: dict[str, FoundProfile] = field(default_factory=dict)
    _known: dict[Use, Known] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if len(self.used) > MOST_USES:
            what = self.archive.what
            raise FileRefused(f"{what}: found {len(self.used)} types and modes of fixtures, allowed are {MOST_USES}")
        members = Members(self.archive)
        by_type: dict[str, list[Use]] = {}
        for use in self.used:
            by_type.setdefault(plain(use.spec), []).append(use)
        for uses in by_type.values():
            self._read(members.find(uses[0].spec), uses)

    def of(self, use: Use) -> Known:
        """What is known of a type as a fixture uses it."""
        return self._known[use]

    def taken(self, profile: FoundProfile) -> FoundProfile:
        """The profile, now among those that are in use, with a stem unlike the others'."""
        if profile.key not in self.profiles:
            stem = unlike(profile.stem, (each.stem for each in self.profiles.values()))
            self.profiles[profile.key] = replace(profile, stem=stem)
        return self.profiles[profile.key]

    def _read(self, member: str | None, uses: Sequence[Use]) -> None:
        about = type_of(uses[0].spec)
        if member is None:
            self._unknown(uses, f"no GDTF file of type '{shown(about)}' is in it" if about else "no type is given")
            return
        try:
            opened = open_gdtf(self.archive.read(member, MOST_GDTF), member)
            readings: dict[Use, Known] = {}
            for written, alike in _by_mode(uses).items():
                mode = self._mode(opened, written, self._names(alike), about)
                for use in alike:
                    meant = Use("", mode, use.invert_pan, use.invert_tilt) if isinstance(mode, str) else use
                    if meant not in readings:
                        readings[meant] = self._one(opened, meant, about) if isinstance(mode, str) else mode
                    self._known[use] = readings[meant]
        except FileRefused as error:
            self._unknown(uses, f"the GDTF file of type '{shown(about)}' cannot be read ({error})")

    def _one(self, opened: FixtureType, use: Use, about: str) -> Known:
        """One mode. Where it is a head, but of no use as it stands, a person is asked for a profile."""
        taken = profile_of(opened, use.mode, use.invert_pan, use.invert_tilt)
        name = f"{shown(about)} ({shown(use.mode)})" if use.mode else shown(about)
        for text in taken.questions:
            self.says.ask(text, name)
        for text in taken.notes:
            self.says.note(text, name)
        if taken.profile is None and taken.skipped:
            return Known(why="; ".join(each.why for each in taken.skipped[:3]))
        if taken.profile is None:
            self.asks.append(Ask("profile", about, f"which profile is '{shown(about)}', mode '{shown(use.mode)}'?"))
        return Known(taken.profile, "", taken.dmx_break, taken.head.base_rotation if taken.head else IDENTITY)

    def _mode(self, opened: FixtureType, written: str, names: Sequence[str], about: str) -> str | Known:
        """As written, else as a person answers, else the only one that can be meant; else what is known without."""
        modes = list(opened.element.below("DMXModes", "DMXMode"))
        for wanted in filter(None, (written, self.mode)):
            if (mode := choose(modes, wanted, about).mode) is not None:
                return mode
        chosen = choose(modes, written or None, about)
        if chosen.mode is not None:
            self.says.note(f"no mode is given: taken as '{shown(chosen.mode)}' of '{shown(about)}'", listed(names))
            return chosen.mode
        if not any(can_follow(mode) for mode in modes):
            return Known(why="no mode of its type has pan, tilt and dimmer")
        if chosen.ask is not None:
            self.asks.append(chosen.ask._replace(about=about, text=f"{listed(names)}: {chosen.ask.text}"))
            self.says.ask(chosen.ask.text, listed(names))
        return Known()

    def _unknown(self, uses: Sequence[Use], why: str) -> None:
        about, count = type_of(uses[0].spec), 0
        for mode, alike in _by_mode(uses).items():
            names = self._names(alike)
            written, count = f", mode '{shown(mode)}'" if mode else "", count + len(names)
            self.says.ask(f"{why}{written}: give the profile of these heads, or leave them out", listed(names))
        self._known.update(dict.fromkeys(uses, Known()))
        whose = "this fixture" if count == 1 else f"these {count} fixtures"
        self.asks.append(Ask("profile", about, f"{why}: which profile is right for {whose}?"))

    def _names(self, uses: Sequence[Use]) -> list[str]:
        return [name for use in uses for name in self.used[use]]


def _by_mode(uses: Sequence[Use]) -> dict[str, list[Use]]:
    found: dict[str, list[Use]] = {}
    for use in uses:
        found.setdefault(use.mode, []).append(use)
    return found


class Members:
    """The GDTF files of an archive by names as scenes write them: any case, blanks, encoding, ending or none."""

    def __init__(self, archive: Archive) -> None:
        self._names = [name for name in archive.names if re.search(r"\.gdtf\s*$", name, re.IGNORECASE)]
        self._plain: dict[str, list[str]] = {}
        for name in self._names:
            for spelled in {plain(name), plain(_respelled(name))}:
                self._plain.setdefault(spelled, []).append(name)

    def find(self, spec: str) -> str | None:
        """The member that a GDTFSpec means; None where there is none, or several and none of exactly this name."""
        alike = self._plain.get(plain(spec), []) if spec.strip() else []
        exact = [name for name in alike if name.strip() in (spec.strip(), f"{spec.strip()}.gdtf")]
        return exact[0] if exact else alike[0] if len(alike) == 1 else None


def type_of(spec: str) -> str:
    """A GDTFSpec without its ending and blanks: `Harbour Works@Spot 300`."""
    return re.sub(r"\.gdtf\s*$", "", spec.strip(), flags=re.IGNORECASE).strip()


def plain(name: str) -> str:
    """A name for comparing: no folder, no ending, one kind of blank, small letters, composed accents."""
    last = re.split(r"[/\\]", type_of(name))[-1]
    return " ".join(unicodedata.normalize("NFKC", last).casefold().split())


def _respelled(name: str) -> str:
    """Names in UTF-8 that an archive does not mark so are read as an old code page."""
    try:
        return name.encode("cp437").decode("utf-8")
    except UnicodeError:
        return name
