"""A file of another program meets a show: what would change, what has to be asked, and what is to be written.

Nothing is written here; `taking` does that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from bridge.errors import FileRefused
from bridge.exchange.found import Ask, Document, Found, FoundFixture, FoundProfile, Skipped
from bridge.exchange.meeting_heads import Heads, meet_heads, with_hang
from bridge.exchange.meeting_profiles import ProfileHere, meet_profiles, named_profile
from bridge.exchange.said import Change, sentence
from bridge.exchange.standing import Standing
from bridge.show.folder import built_in_profiles
from bridge.show.imported import Imported
from bridge.show.load import STAGE
from bridge.show.problems import unknown

NO_ANSWERS: Mapping[str, str] = {}
MADE_UP_M = (12.0, 8.0)
STAGE_MADE_UP = (
    f"stage.yaml is made up, {MADE_UP_M[0]:g} m wide and {MADE_UP_M[1]:g} m deep: "
    "write the real edge of the area in it, where the marks are and what must stay dark"
)


@dataclass(frozen=True)
class Meeting:
    """All that an import does to a show. `heads` are those of the file as rig.yaml is to have them, `rig` all."""

    show: Standing
    profiles: tuple[ProfileHere, ...]
    heads: tuple[Document, ...]
    rig: tuple[Document, ...]
    changes: tuple[Change, ...]
    questions: tuple[str, ...]
    skipped: tuple[Skipped, ...]
    notes: tuple[str, ...]
    asks: tuple[Ask, ...]
    imported: Imported
    unfit: tuple[FoundProfile, ...] = ()


def meet(found: Found, show: Standing, answers: Mapping[str, str] = NO_ANSWERS) -> Meeting:
    """`answers`: type -> profile, of heads whose type nobody knows; "" for all of them.

    Raises FileRefused where there is no such profile, or no such type.
    """
    for kind, profile in answers.items():
        if show.footprint_of(profile) is None:
            raise FileRefused(f"--profile: {unknown('profile', profile, _profiles(show))}")
        if kind and kind not in (types := {one.type for one in found.fixtures}):
            raise FileRefused(f"--profile: {unknown('type', kind, sorted(types))}")
    profiles = meet_profiles(found.profiles, show, alone=not found.fixtures)
    words = {
        n: _profile_of(one, profiles.here, show) or answers.get(one.type) or answers.get("")
        for n, one in enumerate(found.fixtures)
    }
    slots = {here.file: here.document.get("footprint") for here in profiles.here.values()}
    footprints = {file: each for file, each in slots.items() if isinstance(each, int)}
    heads = meet_heads(found.fixtures, words, show, footprints)
    named = {str(head.get("name")): head for head in heads.rig}
    damaged = show.imported.damaged
    notes = [f"{damaged}: what the last import gave is not known"] if damaged else []
    made_up = [] if show.has(STAGE) or not heads.rig else [STAGE_MADE_UP]
    return Meeting(
        show=show,
        profiles=tuple(profiles.here.values()),
        heads=tuple(named[name] for name in heads.theirs),
        rig=tuple(heads.rig),
        changes=(*profiles.changes, *heads.changes),
        questions=_once(*found.questions, *profiles.questions, *heads.questions, *made_up),
        skipped=(*found.skipped, *profiles.skipped, *heads.skipped),
        notes=_once(*found.notes, *profiles.notes, *heads.notes, *notes),
        asks=_asks(found, words, heads, show),
        imported=Imported(profiles.imported, heads.imported),
        unfit=found.unfit,
    )


def _profile_of(one: FoundFixture, here: Mapping[str, ProfileHere], show: Standing) -> str | None:
    if one.profile is not None:
        return here[one.profile].file if one.profile in here else None
    return named_profile([f"{one.type} {one.mode}", f"{one.type}, {one.mode}", one.type] if one.type else [], show)


def _asks(found: Found, words: Mapping[int, str | None], heads: Heads, show: Standing) -> tuple[Ask, ...]:
    """Those of the file that are still open, and which profile heads have that nobody knows."""
    asked = {ask.about for ask in found.asks if ask.key == "profile"}
    left = {what.partition(" (")[0] for what, _ in heads.skipped}
    types = dict.fromkeys(one.type for n, one in enumerate(found.fixtures) if words[n] is None)
    choices = _profiles(show)
    more = [
        Ask("profile", kind, f"Which profile do the heads of type {kind or '(none is named)'} have?", choices)
        for kind in types
        if left and kind not in asked
    ]
    known = [ask for ask in found.asks if ask.key != "profile" or ask.about in types]
    asks = [ask if ask.choices or ask.key != "profile" else ask._replace(choices=choices) for ask in known]
    return tuple(ask._replace(text=sentence(ask.text)) for ask in (*asks, *more))


def _profiles(show: Standing) -> tuple[str, ...]:
    """What a rig may say for a profile."""
    return (*show.profiles, *built_in_profiles())


def _once(*texts: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(map(sentence, texts)))


def as_json(meeting: Meeting, written: tuple[str, ...]) -> dict[str, Any]:
    """The shape of `import --json`."""
    return {
        "profiles": [
            *(_profile_json(here.found, here.file, here.document) for here in meeting.profiles),
            *(_profile_json(found, None, found.document) | {"unfit": True} for found in meeting.unfit),
        ],
        "fixtures": [with_hang(head) for head in meeting.heads],
        "questions": list(meeting.questions),
        "skipped": [one._asdict() for one in meeting.skipped],
        "notes": list(meeting.notes),
        "asks": [{**ask._asdict(), "choices": list(ask.choices)} for ask in meeting.asks],
        "changes": [change._asdict() for change in meeting.changes],
        "written": list(written),
    }


def _profile_json(found: FoundProfile, file: str | None, document: Document) -> dict[str, Any]:
    head = {"file": file, "mode": found.mode, "from": found.source}
    return head | document | {"why": dict(found.why), "confirm": list(found.confirm)}
