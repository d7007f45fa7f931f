"""The profiles of a file beside those of a show: which file each goes to, what changes, and what a hand has changed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from bridge.exchange.found import Document, FoundProfile, Skipped
from bridge.exchange.gdtf_out import MAKER
from bridge.exchange.names import slug, unlike
from bridge.exchange.said import Change, changes_of, steps_said
from bridge.exchange.standing import PROFILES, Standing, built_in
from bridge.exchange.three_way import at, merged
from bridge.show.emit import to_yaml
from bridge.show.folder import built_in_profiles
from bridge.show.imported import ImportedProfile, normal
from bridge.show.problems import Bad
from bridge.show.profile import read_profile
from bridge.show.yaml12 import parse


@dataclass(frozen=True)
class ProfileHere:
    """A profile of the file, the show's file for it, and what that is to hold; `before`: what it holds (None: new)."""

    found: FoundProfile
    file: str
    document: Document
    before: Document | None

    @property
    def changes(self) -> bool:
        """Whether its file is to be written."""
        return self.document is not self.before


@dataclass
class Profiles:
    """All of a file's profiles, by their keys."""

    here: dict[str, ProfileHere] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)
    questions: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    skipped: list[Skipped] = field(default_factory=list)
    imported: dict[str, ImportedProfile] = field(default_factory=dict)


def meet_profiles(found: Iterable[FoundProfile], show: Standing, alone: bool = False) -> Profiles:
    """Where each goes and what becomes of it. `alone`: the file has profiles only, no heads that it hangs."""
    out = Profiles(imported=dict(show.imported.profiles))
    for profile in found:
        if problem := _problem(profile.document):
            out.skipped.append(Skipped(f"{profile.source}, mode {profile.mode}", problem))
            continue
        _meet(profile, show, out, alone)
    return out


def _meet(profile: FoundProfile, show: Standing, out: Profiles, alone: bool) -> None:
    if (twin := _twin(profile, show)) is not None:
        file, document = twin
        out.here[profile.key] = ProfileHere(profile, file, document, document)
        out.notes.append(f"{profile.source}, mode {profile.mode}: {file} has the same slots and ranges, and is used")
        return
    file = _file_for(profile, show, [here.file for here in out.here.values()])
    theirs = normal(profile.document)
    before, last = show.profiles.get(file), show.imported.profiles.get(file)
    if before is None:
        document = dict(profile.document)
        out.changes.append(Change(file, "", None, file, f"new profile {file}: {profile.source}, mode {profile.mode}"))
    else:
        if alone and _other_zero(before, theirs):
            theirs["pan"] |= {end: before["pan"][end] for end in ("from", "to")}
            out.notes.append(
                f"{file}: pan keeps its zero here: a drawing counts it from its hang, the file alone from its yoke"
            )
        step = merged(before, theirs, dict(last.given) if last else None, hand_first=True)
        document = step.document
        out.changes += changes_of(file, "", step.changed)
        if step.kept:
            out.notes.append(f"{file}: kept as changed by hand since the last import: {steps_said(step.kept)}")
        if step.torn:
            out.questions.append(
                f"{file} stands here with other values, kept: {steps_said(step.torn)}. Which are right? Put the right "
                "ones in, or move the file away and import again"
            )
    out.here[profile.key] = ProfileHere(profile, file, document, before)
    out.imported[file] = ImportedProfile(profile.source, profile.mode, theirs, profile.confirm)


def _other_zero(before: Document, theirs: Document) -> bool:
    """Whether pan is the same travel the same way, counted from another zero: poses know which."""
    ends = [at(document, ("pan", end)) for document in (before, theirs) for end in ("from", "to")]
    if not all(isinstance(end, int | float) for end in ends):
        return False
    return abs(ends[0] - ends[2]) > 1e-6 and abs((ends[0] - ends[2]) - (ends[1] - ends[3])) < 1e-6


def _twin(profile: FoundProfile, show: Standing) -> tuple[str, Document] | None:
    """A profile of the rig that is the same head to the byte: of a drawing that we gave, any; else one that no import
    made, since another file's head may lie under it in all that is not compared."""
    theirs = normal(profile.document)
    last = show.imported.profiles
    known = any(one.source == profile.source for one in last.values())
    given = not known and str(theirs.get("name")).startswith(f"{MAKER} ")
    twins: list[tuple[str, Document]] = []
    for word in dict.fromkeys(str(head.get("profile")) for head in show.heads):
        ours = show.profiles.get(word) or built_in(word)
        if ours is not None and (given or word not in last) and _head_of(normal(ours)) == _head_of(theirs):
            twins.append((word, ours))
    name = _plain(str(theirs.get("name")))
    return max(twins, key=lambda twin: _plain(str(twin[1].get("name"))) in name, default=None)


def _head_of(document: Document) -> list[Any]:
    """What a head obeys: its slots, and the angles and the light at their ends."""
    ends = [at(document, (axis, end)) for axis in ("pan", "tilt", "dimmer") for end in ("from", "to")]
    fixed = {slot: byte for slot, byte in (document.get("fixed") or {}).items() if byte}
    return [document.get("footprint"), document.get("channels"), fixed, ends]


def _file_for(profile: FoundProfile, show: Standing, taken: list[str]) -> str:
    """The file that an earlier import gave it; a standing one of its name, if that is of the same head; a new one."""
    names = [file.removeprefix(f"{PROFILES}/").rpartition(".")[0] for file in [*taken, *show.profiles]]
    for name in [profile.stem, *(each for each in names if each.startswith(f"{profile.stem}-"))]:
        file = f"{PROFILES}/{name}.yaml"
        if file not in taken and (file not in show.profiles or _same_head(profile, file, show)):
            return file if file in show.profiles or name == profile.stem else f"{PROFILES}/{unlike(name, names)}.yaml"
    return f"{PROFILES}/{unlike(profile.stem, names)}.yaml"


def _same_head(profile: FoundProfile, file: str, show: Standing) -> bool:
    last = show.imported.profiles.get(file)
    if last is not None:
        return last.mode == profile.mode and last.given.get("name") == profile.document.get("name")
    return show.profiles[file].get("name") == profile.document.get("name") or _alike(profile, show.profiles[file])


def _alike(profile: FoundProfile, standing: Document) -> bool:
    """Made by hand for the same head: the same slots for the same things."""
    return all(standing.get(key) == normal(profile.document.get(key)) for key in ("footprint", "channels"))


def _problem(document: Document) -> str:
    """Why the schema does not take it; "" where it does."""
    try:
        node, problems = parse(to_yaml({"version": 1, **document}))
        read_profile(node)
    except Bad as error:
        problems = error.problems
    except (ValueError, TypeError) as error:
        return f"its values make no profile: {error}"
    return "its values make no profile: " + "; ".join(map(str, problems[:3])) if problems else ""


def named_profile(words: Iterable[str], show: Standing) -> str | None:
    """What a rig says for a profile that paperwork calls so: its path, its file's stem, its name, or a built-in one."""
    known: dict[str, str] = {}
    by_file: Mapping[str, Document] = {**show.profiles, **{name: built_in(name) or {} for name in built_in_profiles()}}
    for file, document in by_file.items():
        stem = file.removeprefix(f"{PROFILES}/").rpartition(".")[0] if "/" in file else file
        for word in (file, stem, str(document.get("name", ""))):
            known.setdefault(_plain(word), file)
    return next((known[_plain(word)] for word in words if word and _plain(word) in known), None)


def _plain(word: str) -> str:
    return slug(word, "").casefold()
