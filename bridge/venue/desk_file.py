"""A desk's cues (`tetherlight venue SHOW --desk cues.yaml`): how the file is read. What it means is in README.md."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path

from bridge.errors import ShowError
from bridge.rig.fixture import Fixture
from bridge.rig.profile import CHANNEL_NAMES
from bridge.show.controls import slot
from bridge.show.folder import read_tree, versioned
from bridge.show.keys import KeyReader
from bridge.show.model import Show
from bridge.show.names import by_name, each, entries
from bridge.show.network import Endpoint, destinations, source_name
from bridge.show.problems import Bad, Problem, listed, nearest, shown
from bridge.show.scalars import resolve
from bridge.show.values import Parse, bad, list_of, number, whole
from bridge.show.yaml12 import Node
from bridge.venue.desk import Cue, DeskPlay, Look
from bridge.wire.settings import Slot

NAME, PRIORITY = "Harbour Hall desk", 100
MOST_S = 86_400.0
_byte = whole(0, 255)
_seconds = number(0, MOST_S, unit="seconds")


@dataclass(frozen=True)
class Desk:
    """One desk: what it calls itself, how it sends (`destinations` empty: multicast) and what it plays."""

    name: str
    priority: int
    destinations: tuple[Endpoint, ...]
    play: DeskPlay


def load_desk(path: Path, show: Show) -> Desk:
    """Read a file of cues for a show. Raises ShowError with one `file:line: text` for everything wrong in it."""
    try:
        return _desk(*read_tree(path), show)
    except Bad as error:
        lines = sorted(error.problems, key=lambda p: p.line)
        raise ShowError([f"{path}:{problem.line}: {problem}" for problem in lines]) from None


def _desk(root: Node, doubled: list[Problem], show: Show) -> Desk:
    top = versioned(root)
    for problem in doubled:
        top.problem(problem)
    name = top.optional("name", source_name, NAME)
    priority = top.optional("priority", whole(0, 200), PRIORITY)
    to = top.optional("to", destinations, ())
    none: dict[str, Look] = {}
    looks = top.required("looks", by_name(lambda _, node: _look(node, show), "looks by name"), none)
    repeat_s = top.optional("repeat", number(0, MOST_S, above=True, unit="seconds"), None)
    cues: list[Cue] = []
    if top.good("looks"):
        cues = top.required("cues", list_of(_cue(looks), 1, what="a list of cues, a list"), cues)
    else:
        top.ignore(["cues"])  # a cue of a look that could not be read has no fault of its own
    if top.good("looks", "cues", "repeat") and cues:
        _in_time(top, cues, repeat_s)
        if not any(cue.look for cue in cues):
            top.fail("looks", "found no slot in any look of a cue, expected one at least: this desk would send nothing")
    top.done()
    return Desk(name, priority, to, DeskPlay(cues, _together(show), repeat_s))


def _in_time(top: KeyReader, cues: list[Cue], repeat_s: float | None) -> None:
    """Every fade has ended when the next cue begins, and the last when the round begins again."""
    ends = [cue.at_s + cue.fade_s for cue in cues]
    for number_, (end, then) in enumerate(zip(ends, cues[1:], strict=False), 1):
        if then.at_s < end or then.at_s == cues[number_ - 1].at_s:
            text = f"found cue {number_ + 1} at {then.at_s:g} s, expected later: cue {number_} has arrived at {end:g} s"
            top.fail("cues", text)
    if repeat_s is not None and repeat_s < ends[-1]:
        top.fail("repeat", f"found {repeat_s:g} s, expected {ends[-1]:g} or more: the last cue has arrived only then")


def _cue(looks: Mapping[str, Look]) -> Parse[Cue]:
    def look(node: Node) -> Look:
        if isinstance(node.value, dict) or node.text not in looks:
            near = nearest(node.text, looks)
            raise bad(node, f"a look of this file: {listed(looks)}" + (f" (nearest is '{near}')" if near else ""))
        return looks[node.text]

    def layers(node: Node) -> Look:
        found = list_of(look, 1, what="a list of looks, a list")(node) if isinstance(node.value, list) else [look(node)]
        return {slot: byte for one in found for slot, byte in one.items()}

    def parse(node: Node) -> Cue:
        m = KeyReader(node, "a mapping such as {at: 10, look: blue, fade: 3}")
        cue = Cue(m.required("at", _seconds, 0.0), m.required("look", layers, {}), m.optional("fade", _seconds, 0.0))
        m.done()
        return cue

    return parse


def _look(node: Node, show: Show) -> Look:
    """Bytes of one look: what it says of fixtures, and its slots over them."""
    m = KeyReader(node, "a mapping with fixtures, slots or both")
    none: dict[Slot, int] = {}
    fixtures = m.optional("fixtures", lambda child: _fixtures(child, show), none)
    slots = m.optional("slots", _slots, none)
    m.done()
    return {**fixtures, **slots}


def _slots(node: Node) -> dict[Slot, int]:
    out: dict[Slot, int] = {}

    def one(key: str, child: Node) -> None:
        out[slot(Node(node.line_of(key), key, key))] = _byte(child)

    each(entries(node, "a mapping of slots, such as {101.13: 255}"), one)
    return out


def _fixtures(node: Node, show: Show) -> dict[Slot, int]:
    under = _under(show)
    out: dict[Slot, int] = {}

    def one(key: str, child: Node) -> None:
        found = [fixture for fixture in show.fixtures if fnmatchcase(fixture.name, key)]
        if not found:
            names = [fixture.name for fixture in show.fixtures]
            near = nearest(key, names)
            hint = f", nearest is '{near}'" if near else ""
            text = f"found no fixture '{shown(key)}'{hint}; allowed: {listed(names)}, or a pattern such as foh-*"
            raise Bad([Problem(node.line_of(key), text)])
        for fixture in found:
            if fixture.universe not in under:
                text = (
                    f"found no universe of the desk for {fixture.name}: `desk: universes` in network.yaml lays none "
                    f"under its universe {fixture.universe}; allowed: `slots` of the desk, such as "
                    f"101.{fixture.address}"
                )
                raise Bad([Problem(node.line_of(key), text)])
            for offset, byte in _values(fixture, child).items():
                out[under[fixture.universe], fixture.address + offset - 1] = byte

    each(entries(node, "a mapping of fixtures, such as {foh-1: {dimmer: 0.8}}"), one)
    return out


def _values(fixture: Fixture, node: Node) -> dict[int, int]:
    """Bytes by offset of what a look says of one fixture, by channel or by offset."""
    profile, out = fixture.profile, dict[int, int]()

    def one(key: str, child: Node) -> None:
        offset = resolve(key)
        if key in profile.channels:
            out.update(zip(profile.channels[key], _raw(fixture, key, child), strict=True))
        elif isinstance(offset, int) and not isinstance(offset, bool) and 1 <= offset <= profile.footprint:
            out[offset] = _byte(child)
        else:
            has = [name for name in CHANNEL_NAMES if name in profile.channels]
            text = f"found '{shown(key)}', allowed for {fixture.name} ({profile.name}): {listed(has)}"
            raise Bad([Problem(node.line_of(key), f"{text}, or an offset from 1 to {profile.footprint}")])

    each(entries(node, "a mapping such as {dimmer: 0.8, 21: 255}"), one)
    return out


def _raw(fixture: Fixture, channel: str, node: Node) -> bytes:
    """A channel's bytes, coarse first: degrees for pan and tilt, 0 to 1 for the rest (the dimmer: of the light)."""
    profile = fixture.profile
    if channel in ("pan", "tilt"):
        axis = profile.pan if channel == "pan" else profile.tilt
        ends = sorted((axis.from_deg, axis.to_deg))
        share = (number(ends[0], ends[1], unit="degrees")(node) - axis.from_deg) / (axis.to_deg - axis.from_deg)
    else:
        share = number(0, 1)(node)
        if channel == "dimmer" and profile.dimmer_curve == "square":
            share = math.sqrt(share)
    low, high = profile.dimmer_raw if channel == "dimmer" else (0, profile.full_scale(channel))
    return round(low + share * (high - low)).to_bytes(len(profile.channels[channel]), "big")


def _under(show: Show) -> dict[int, int]:
    """The desk's universe under each of ours that has one."""
    desk = show.network.desk
    return {} if desk is None else desk.under({fixture.universe for fixture in show.fixtures})


def _together(show: Show) -> list[tuple[int, tuple[int, ...]]]:
    """Which slots of the desk hold one value together: the channels of more than a byte of the fixtures over it."""
    under = _under(show)
    return [
        (under[fixture.universe], tuple(fixture.address + offset - 1 for offset in offsets))
        for fixture in show.fixtures
        if fixture.universe in under
        for offsets in fixture.profile.channels.values()
        if len(offsets) > 1
    ]
