"""The heads of a file beside those of a rig: who is who, what they are called, what changes, what cannot be patched."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from bridge.exchange.found import Document, FoundFixture, Skipped
from bridge.exchange.meeting_patch import Claim, settled
from bridge.exchange.names import slug, unlike
from bridge.exchange.said import Change, changes_of, listed, steps_said
from bridge.exchange.standing import Standing
from bridge.exchange.three_way import Merged, applied, merged
from bridge.show.imported import ImportedFixture, normal
from bridge.show.load import RIG

ORDER = ("name", "profile", "universe", "address", "hang", "at", "at_sigma", "truss", "unit", "number", "follows")
PATCH = ("profile", "universe", "address")


@dataclass
class Heads:
    """`rig`: all fixtures of the rig as they are to be, those that stood there first; `theirs`: those of the file."""

    rig: list[Document]
    theirs: list[str] = field(default_factory=list)
    changes: list[Change] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    skipped: list[Skipped] = field(default_factory=list)
    imported: dict[str, ImportedFixture] = field(default_factory=dict)


@dataclass(frozen=True)
class Wanted:
    """A head of the file: its name by the file and here, and its keys of rig.yaml. `profile` may be missing."""

    found: FoundFixture
    called: str
    name: str
    keys: Document


@dataclass(frozen=True)
class _Met:
    """A wanted head and its place in the rig with what that becomes; None: it is new."""

    wanted: Wanted
    place: int | None = None
    step: Merged = field(default_factory=lambda: Merged({}))


def meet_heads(
    found: Sequence[FoundFixture], profiles: Mapping[int, str | None], show: Standing, footprints: Mapping[str, int]
) -> Heads:
    """`profiles`: what the rig is to say for each head's profile, by its place in `found`; None: nobody knows.
    `footprints`: slots of the profiles that are new."""
    out = Heads([dict(head) for head in show.heads], imported=dict(show.imported.fixtures))
    met = _met(found, profiles, show, out)
    refused = _refused(met, show, footprints)
    for n, one in enumerate(met):
        if one.place is None:
            _add(one.wanted, out, refused.get(n, ""))
        else:
            _change(one, one.place, out, refused.get(n, ""))
    place = {str(head.get("name")) for head in show.heads}
    seen = {one.wanted.name for one in met}
    gone = [name for name, last in show.imported.fixtures.items() if last.id and name in place and name not in seen]
    if gone and any(one.id for one in found):
        out.questions.append(f"in the show and not in this file: {listed(gone)}. They stay; take them out by hand")
    other = [f"{w.name} ({w.found.name})" for w in (one.wanted for one in met) if w.found.name and w.called != w.name]
    if other:
        out.notes.append(f"called otherwise in the file, they keep their names here: {listed(other)}")
    return out


def _met(found: Sequence[FoundFixture], profiles: Mapping[int, str | None], show: Standing, out: Heads) -> list[_Met]:
    """Who is who; heads that a hand has taken out are left out."""
    place = {str(head.get("name")): n for n, head in enumerate(show.heads)}
    known = _Known(show)
    seen: set[str] = set()
    met: list[_Met] = []
    for number, (one, name) in enumerate(zip(found, names_for(found), strict=True)):
        wanted = Wanted(one, name, known.name_of(one, name, seen), _keys(one, profiles.get(number)))
        if wanted.name in seen:
            wanted = replace(wanted, name=unlike(name, {*seen, *place}))
        seen.add(wanted.name)
        last = show.imported.fixtures.get(wanted.name)
        if wanted.name in place:
            n = place[wanted.name]
            step = merged(with_hang(out.rig[n]), normal(wanted.keys), dict(last.given) if last else None)
            met.append(_Met(wanted, n, step))
        elif last is not None:
            why = "it was taken out of rig.yaml by hand since the last import (take it out of imported.yaml to have it)"
            out.skipped.append(Skipped(_called(wanted), why))
        else:
            met.append(_Met(wanted))
    return met


def _refused(met: Sequence[_Met], show: Standing, footprints: Mapping[str, int]) -> dict[int, str]:
    """Why a head cannot have the slots that it is to have, by its place in `met`."""
    stay = {*range(len(show.heads))} - {one.place for one in met}
    claims = [_claim(one, show) for one in met] + [Claim(show.heads[n], show.heads[n]) for n in stay]
    return dict(settled(claims, lambda word: footprints.get(word) or show.footprint_of(word)))


def _claim(one: _Met, show: Standing) -> Claim:
    if one.place is not None:
        return Claim(applied(show.heads[one.place], one.step.changed), show.heads[one.place])
    keys = one.wanted.keys
    return Claim({"name": one.wanted.name} | (keys if all(key in keys for key in PATCH) else {}), None)


def _change(one: _Met, n: int, out: Heads, why: str) -> None:
    """A head that is in the rig already; `why`: its new patch cannot be had."""
    wanted, step = one.wanted, one.step
    name = wanted.name
    if why:
        out.questions.append(f"{name}: its new patch is not taken over: {why}")
    changed = [each for each in step.changed if not (why and each.path[0] in PATCH)]
    if step.kept:
        out.notes.append(f"{name}: kept as changed by hand since the last import: {steps_said(step.kept)}")
    if step.torn:
        out.questions.append(
            f"{name}: changed by hand since the last import, and in the file too; kept: {steps_said(step.torn)}"
        )
    out.changes += changes_of(RIG, name, changed)
    if changed:
        out.rig[n] = applied(out.rig[n], changed)
    _remember(wanted, out, PATCH if why else ())


def _add(wanted: Wanted, out: Heads, taken: str) -> None:
    """A head that is new here; `taken`: whose slots it wants."""
    keys = wanted.keys
    why = taken
    if "profile" not in keys:
        why = f"its type is not known here: {wanted.found.type or 'none is named'}"
    elif keys.get("universe") is None or keys.get("address") is None:
        why = "it is not patched: no universe and address"
    if why:
        out.skipped.append(Skipped(_called(wanted), why))
        return
    document = {"name": wanted.name, **normal({key: each for key, each in keys.items() if not _default(key, each)})}
    out.rig.append(document)
    where = f"{keys['universe']}/{keys['address']}, {keys['profile']}"
    out.changes.append(Change(RIG, wanted.name, None, document, f"new head {wanted.name} at {where}"))
    _remember(wanted, out)


def _remember(wanted: Wanted, out: Heads, without: Sequence[str] = ()) -> None:
    """`without`: what was not taken over, so that the next import does not take it for a change by hand."""
    last = out.imported.get(wanted.name, ImportedFixture())
    given = normal({**last.given, **{key: each for key, each in wanted.keys.items() if key not in without}})
    out.imported[wanted.name] = ImportedFixture(wanted.found.id or last.id, given)
    out.theirs.append(wanted.name)


def _keys(one: FoundFixture, profile: str | None) -> Document:
    hang = dict(zip(("yaw", "pitch", "roll"), one.hang, strict=True)) if one.hang is not None else None
    said: dict[str, Any] = {
        "profile": profile,
        "universe": one.universe,
        "address": one.address,
        "hang": hang,
        "at": list(one.at) if one.at is not None else None,
        "truss": slug(one.truss) if one.truss else None,
        "number": _number(one.number) or None,
        **one.keys,
    }
    order = [*(key for key in ORDER if key in said), *(key for key in said if key not in ORDER)]
    return {key: said[key] for key in order if said[key] is not None}


def _number(text: str) -> int | str:
    """A number as people write it in YAML: one line, without quotes where it reads the same."""
    text = " ".join("".join(char if char.isprintable() else " " for char in text).split())
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 and str(int(text)) == text else text


def with_hang(head: Document) -> Document:
    """A head with all three angles of its turn, 0 where the rig says nothing."""
    hang = head.get("hang")
    if hang is None:
        return {**head, "hang": {"yaw": 0.0, "pitch": 0.0, "roll": 0.0}}
    if isinstance(hang, dict):
        return {**head, "hang": {"yaw": 0.0, "pitch": 0.0, "roll": 0.0} | hang}
    return dict(head)


def _default(key: str, value: Any) -> bool:
    return key == "hang" and not any(value.values())


def _called(wanted: Wanted) -> str:
    where = f" ({wanted.found.where})" if wanted.found.where else ""
    return f"{wanted.name}{where}"


def names_for(found: Iterable[FoundFixture]) -> list[str]:
    """A name for each: as written, with its number where several have one name, else with a count."""
    rows = [(slug(one.name, ""), slug(one.number, ""), one) for one in found]
    often = Counter(name.casefold() for name, _, _ in rows)
    out: list[str] = []
    for name, number, one in rows:
        wanted = name or slug(one.type, "head")
        if (not name or often[name.casefold()] > 1) and number:
            wanted = f"{wanted}-{number}"
        out.append(wanted)
    twice = Counter(name.casefold() for name in out)
    counted: Counter[str] = Counter()
    taken = set(twice)
    for n, name in enumerate(out):
        key = name.casefold()
        counted[key] += 1
        if twice[key] > 1 and counted[key] > 1:
            while f"{key}-{counted[key]}" in taken:
                counted[key] += 1
            out[n] = f"{name}-{counted[key]}"
            taken.add(out[n].casefold())
    return out


class _Known:
    """Who a head of the file is here: by the id that an import has kept, by its name, by its number, by its patch."""

    def __init__(self, show: Standing) -> None:
        rig = {str(head.get("name")): head for head in show.heads}
        self._here = {name.casefold(): name for name in rig}
        self._ids = {last.id: name for name, last in show.imported.fixtures.items() if last.id}
        numbers = Counter(str(head["number"]) for head in rig.values() if "number" in head)
        self._numbers = {
            str(h["number"]): n for n, h in rig.items() if "number" in h and numbers[str(h["number"])] == 1
        }
        self._patches = {str((head.get("universe"), head.get("address"))): name for name, head in rig.items()}
        self._once = set(show.imported.fixtures)

    def name_of(self, one: FoundFixture, name: str, seen: set[str]) -> str:
        """The name here of what the file would have us call `name`; that itself where it is nobody."""
        by_id = self._ids.get(one.id, "") if one.id else ""
        if by_id and by_id.casefold() in self._here:
            return by_id
        here = self._here.get(name.casefold())
        if here is not None and not (one.number and here in seen):
            return here
        by_number = self._numbers.get(str(_number(one.number)), "") if one.number else ""
        if by_number and by_number not in seen:
            return by_number
        renamed = self._patches.get(str((one.universe, one.address)))
        if (by_id or name) in self._once and renamed is not None and renamed not in self._once | seen:
            return renamed
        return by_id or name
