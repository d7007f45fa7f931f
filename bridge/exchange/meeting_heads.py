"""The heads of a file beside those of a rig: who is who, what they are called, what changes, what cannot be patched."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from bridge.exchange.found import Document, FoundFixture, Skipped
from bridge.exchange.names import slug, unlike
from bridge.exchange.said import Change, changes_of, listed, steps_said
from bridge.exchange.standing import Standing
from bridge.exchange.three_way import applied, merged
from bridge.show.imported import ImportedFixture, normal
from bridge.show.load import RIG

ORDER = ("name", "profile", "universe", "address", "hang", "at", "at_sigma", "truss", "unit", "number", "follows")
PATCH = ("universe", "address")


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
    """A head of the file: what it is to be called here, and its keys of rig.yaml. `profile` may be missing."""

    found: FoundFixture
    name: str
    keys: Document


def meet_heads(
    found: Sequence[FoundFixture], profiles: Mapping[int, str | None], show: Standing, footprints: Mapping[str, int]
) -> Heads:
    """`profiles`: what the rig is to say for each head's profile, by its place in `found`; None: nobody knows.
    `footprints`: slots of the profiles that are new."""
    out = Heads([dict(head) for head in show.heads], imported=dict(show.imported.fixtures))
    place = {str(head.get("name")): n for n, head in enumerate(out.rig)}
    patched = _Patch(show, footprints, out.rig)
    known = _Known(show)
    seen: set[str] = set()
    for number, (one, name) in enumerate(zip(found, names_for(found), strict=True)):
        wanted = Wanted(one, known.name_of(one, name, seen), _keys(one, profiles.get(number)))
        if wanted.name in seen:
            wanted = Wanted(one, unlike(name, {*seen, *place}), wanted.keys)
        seen.add(wanted.name)
        if wanted.name in place:
            _meet(wanted, place[wanted.name], out, show, patched)
        elif wanted.name in show.imported.fixtures:
            why = "it was taken out of rig.yaml by hand since the last import (take it out of imported.yaml to have it)"
            out.skipped.append(Skipped(_called(wanted), why))
        else:
            _add(wanted, out, patched)
    gone = [name for name, last in show.imported.fixtures.items() if last.id and name in place and name not in seen]
    if gone and any(one.id for one in found):
        out.questions.append(f"in the show and not in this file: {listed(gone)}. They stay; take them out by hand")
    return out


def _meet(wanted: Wanted, n: int, out: Heads, show: Standing, patched: _Patch) -> None:
    """A head that is in the rig already."""
    last = show.imported.fixtures.get(wanted.name)
    step = merged(_with_hang(out.rig[n]), normal(wanted.keys), dict(last.given) if last else None)
    if any(each.path[0] in (*PATCH, "profile") for each in step.changed):
        if why := patched.taken(step.document, wanted.name):
            out.questions.append(f"{wanted.name}: its new patch is not taken over: {why}")
            step.changed = [each for each in step.changed if each.path[0] not in (*PATCH, "profile")]
        patched.move(applied(out.rig[n], step.changed), n)
    if step.kept:
        out.notes.append(f"{wanted.name}: kept as changed by hand since the last import: {steps_said(step.kept)}")
    if step.torn:
        out.questions.append(
            f"{wanted.name}: changed by hand since the last import, and in the file too; kept: {steps_said(step.torn)}"
        )
    out.changes += changes_of(RIG, wanted.name, step.changed)
    if step.changed:
        out.rig[n] = applied(out.rig[n], step.changed)
    _remember(wanted, out)


def _add(wanted: Wanted, out: Heads, patched: _Patch) -> None:
    """A head that is new here."""
    keys = wanted.keys
    why = ""
    if "profile" not in keys:
        why = f"its type is not known here: {wanted.found.type or 'none is named'}"
    elif keys.get("universe") is None or keys.get("address") is None:
        why = "it is not patched: no universe and address"
    else:
        why = patched.taken(keys, wanted.name)
    if why:
        out.skipped.append(Skipped(_called(wanted), why))
        return
    document = {"name": wanted.name, **normal({key: each for key, each in keys.items() if not _default(key, each)})}
    patched.move(document, len(out.rig))
    out.rig.append(document)
    where = f"{keys['universe']}/{keys['address']}, {keys['profile']}"
    out.changes.append(Change(RIG, wanted.name, None, document, f"new head {wanted.name} at {where}"))
    _remember(wanted, out)


def _remember(wanted: Wanted, out: Heads) -> None:
    last = out.imported.get(wanted.name, ImportedFixture())
    given = normal({**last.given, **wanted.keys})
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
    """A number as people write it in YAML: without quotes where it reads the same."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 and str(int(text)) == text else text


def _with_hang(head: Document) -> Document:
    """A head whose turn is all zero, as it is where the rig says nothing."""
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
            out[n] = unlike(name, taken)
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
        self._patches = {(head.get("universe"), head.get("address")): name for name, head in rig.items()}
        self._once = set(show.imported.fixtures)

    def name_of(self, one: FoundFixture, name: str, seen: set[str]) -> str:
        """The name here of what the file would have us call `name`; that itself where it is nobody."""
        by_id = self._ids.get(one.id, "") if one.id else ""
        if by_id and by_id.casefold() in self._here:
            return by_id
        here = self._here.get(name.casefold())
        if here is not None and not (one.number and here in seen):
            return here
        by_number = self._numbers.get(one.number, "") if one.number else ""
        if by_number and by_number not in seen:
            return by_number
        renamed = self._patches.get((one.universe, one.address))
        if (by_id or name) in self._once and renamed is not None and renamed not in self._once | seen:
            return renamed
        return by_id or name


class _Patch:
    """Which slots are whose."""

    def __init__(self, show: Standing, footprints: Mapping[str, int], rig: list[Document]) -> None:
        self._show, self._footprints = show, footprints
        self._spans: dict[Any, dict[int, tuple[int, int, str]]] = {}
        self._of: dict[int, Any] = {}
        for n, head in enumerate(rig):
            self.move(head, n)

    def move(self, head: Document, n: int) -> None:
        """The head `n` has these slots now, and no others."""
        if n in self._of:
            del self._spans[self._of[n]][n]
        span = self._span(head)
        if span is not None:
            self._of[n] = head.get("universe")
            self._spans.setdefault(head.get("universe"), {})[n] = (*span, str(head.get("name")))

    def taken(self, head: Document, name: str) -> str:
        """Why a head cannot have these slots; "" where it can."""
        span = self._span(head)
        if span is None:
            return ""
        if span[1] > 512:
            return f"its {span[1] - span[0] + 1} slots from {head['address']} on reach past 512"
        for first, last, other in self._spans.get(head.get("universe"), {}).values():
            if first <= span[1] and span[0] <= last and other != name:
                return f"its slots {head['universe']}/{span[0]}-{span[1]} overlap those of {other}, {first}-{last}"
        return ""

    def _span(self, head: Document) -> tuple[int, int] | None:
        word, address = str(head.get("profile")), head.get("address")
        slots = self._footprints.get(word) or self._show.footprint_of(word)
        if slots is None or not isinstance(address, int):
            return None
        return address, address + slots - 1
