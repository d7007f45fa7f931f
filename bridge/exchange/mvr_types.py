"""The fixture types of an MVR: the GDTF files inside it, each read once and only in the modes that are in use."""

from __future__ import annotations

import copy
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from bridge.errors import FileRefused
from bridge.exchange.archive import Archive
from bridge.exchange.found import Ask, FoundProfile
from bridge.exchange.gdtf import FixtureType, Taken, open_gdtf, profile_of
from bridge.exchange.names import LONGEST, unlike
from bridge.rig.fixture import Vector3

MOST_GDTF = 120_000_000


class Known(NamedTuple):
    """What is known of fixtures of one type and mode. No profile: no head (`why`), or not known (`why` is "")."""

    profile: FoundProfile | None = None
    why: str = ""
    breaks: int = 1


@dataclass
class Types:
    """All types in use. `used`: (GDTFSpec, GDTFMode) as written -> its fixtures' names; `mode`: a person's answer."""

    archive: Archive
    used: Mapping[tuple[str, str], Sequence[str]]
    mode: str | None = None
    questions: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    asks: list[Ask] = field(default_factory=list)
    profiles: dict[str, FoundProfile] = field(default_factory=dict)
    _known: dict[tuple[str, str], Known] = field(default_factory=dict)

    def __post_init__(self) -> None:
        members = Members(self.archive)
        by_type: dict[str, list[tuple[str, str]]] = {}
        for spec, mode in self.used:
            by_type.setdefault(plain(spec), []).append((spec, mode))
        for uses in by_type.values():
            self._read(members.find(uses[0][0]), uses)

    def of(self, spec: str, mode: str) -> Known:
        """What is known of a type and mode as written."""
        return self._known[spec, mode]

    def turned(self, profile: FoundProfile, pan: bool, tilt: bool) -> FoundProfile:
        """The profile, with pan or tilt run from the other end where the patch inverts them."""
        axes = [axis for axis, inverted in (("pan", pan), ("tilt", tilt)) if inverted]
        if not axes:
            return self._taken(profile)
        suffix = "".join(f"-{axis}" for axis in axes) + "-inverted"
        key = profile.key + suffix
        if key not in self.profiles:
            document = copy.deepcopy(profile.document)
            for axis in axes:
                ends = document[axis]
                ends["from"], ends["to"] = ends["to"], ends["from"]
            why = {**profile.why, **{axis: _INVERTED[axis] for axis in axes}}
            stem = profile.stem[: LONGEST - len(suffix)] + suffix
            return self._taken(replace(profile, key=key, stem=stem, document=document, why=why))
        return self.profiles[key]

    def _taken(self, profile: FoundProfile) -> FoundProfile:
        if profile.key not in self.profiles:
            stem = unlike(profile.stem, (each.stem for each in self.profiles.values()))
            self.profiles[profile.key] = replace(profile, stem=stem)
        return self.profiles[profile.key]

    def _read(self, member: str | None, uses: Sequence[tuple[str, str]]) -> None:
        about = type_of(uses[0][0])
        if member is None:
            self._unknown(uses, f"no GDTF file of type '{shown(about)}' is in it" if about else "no type is given")
            return
        try:
            opened = open_gdtf(self.archive.read(member, MOST_GDTF), member)
            modes = {use: self._mode(opened, use, about) for use in uses}
        except FileRefused as error:
            self._unknown(uses, f"the GDTF file of type '{shown(about)}' cannot be read ({error})")
            return
        readings: dict[str, Known] = {}
        for use, mode in modes.items():
            if mode is not None and mode not in readings:
                readings[mode] = self._one(opened, mode, about)
            self._known[use] = readings[mode] if mode is not None else Known()

    def _one(self, opened: FixtureType, mode: str, about: str) -> Known:
        """One mode. Where it is a head, but of no use as it stands, a person is asked for a profile."""
        try:
            taken = profile_of(opened, mode)
        except FileRefused as error:
            taken = Taken(questions=(str(error),))
        self.questions += taken.questions
        self.notes += taken.notes
        if taken.profile is None and taken.skipped:
            return Known(why="; ".join(each.why for each in taken.skipped[:3]))
        if taken.profile is None:
            self.asks.append(Ask("profile", about, f"which profile is '{shown(about)}', mode '{shown(mode)}'?"))
        return Known(taken.profile, breaks=taken.dmx_break)

    def _mode(self, opened: FixtureType, use: tuple[str, str], about: str) -> str | None:
        """The GDTF's mode that is meant: as written, else as a person answers, else the only one; else asked."""
        written, modes = use[1], opened.modes
        for wanted in (written, self.mode):
            found = [mode for mode in modes if wanted and mode == wanted] or [
                mode for mode in modes if wanted and plain(mode) == plain(wanted)
            ]
            if len(found) == 1:
                return found[0]
        names = listed(self.used[use])
        if len(modes) == 1 and not written:
            self.notes.append(f"{names}: no mode is given, '{shown(about)}' has only '{shown(modes[0])}'")
            return modes[0]
        has = f"'{shown(about)}' has no mode '{shown(written)}'" if written else "no mode is given"
        choices = ", ".join(shown(mode) for mode in modes[:20]) or "none"
        text = f"{names}: {has}; its modes: {choices}. Which one is set on the heads?"
        self.asks.append(Ask("mode", about, text, tuple(modes)))
        self.questions.append(text)
        return None

    def _unknown(self, uses: Sequence[tuple[str, str]], why: str) -> None:
        about = type_of(uses[0][0])
        for use in uses:
            self._known[use] = Known()
            mode = f", mode '{shown(use[1])}'" if use[1] else ""
            names = listed(self.used[use])
            self.questions.append(f"{names}: {why}{mode}: give the profile of these heads, or leave them out")
        text = f"{why}: which profile have its {sum(len(self.used[use]) for use in uses)} fixtures?"
        self.asks.append(Ask("profile", about, text))


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


def shown(text: str) -> str:
    """A text of the file in a message."""
    return text if len(text) <= 60 else text[:57] + "..."


def listed(names: Sequence[str]) -> str:
    """`Spot 1, Spot 2, Spot 3 and 5 more`."""
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return ", ".join(shown(name) or "(no name)" for name in names[:3]) + more


def axes_of(profile: FoundProfile | None) -> Vector3:
    """Where pan and tilt axes meet from where drawings place the base, m, hanging frame."""
    x, y, z = profile.document.get("axes_at", (0.0, 0.0, 0.0)) if profile is not None else (0.0, 0.0, 0.0)
    return float(x), float(y), float(z)


def _respelled(name: str) -> str:
    """Names in UTF-8 that an archive does not mark so are read as an old code page."""
    try:
        return name.encode("cp437").decode("utf-8")
    except UnicodeError:
        return name


_INVERTED = {
    "pan": "the drawing's patch inverts pan (DMXInvertPan): from and to change places",
    "tilt": "the drawing's patch inverts tilt (DMXInvertTilt): from and to change places",
}
