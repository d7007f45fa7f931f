"""The profile that a new show's heads have: a built-in one, a file of ours that is copied, or a GDTF file."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from bridge.errors import InputError
from bridge.exchange.names import slug
from bridge.exchange.taking import Options, look
from bridge.show.folder import built_in_profiles, decode, read_bytes
from bridge.show.problems import Bad, nearest, shown
from bridge.show.profile import read_profile
from bridge.show.yaml12 import parse

_GDTF = re.compile(r"(.*\.gdtf)(?::(.+))?", re.IGNORECASE | re.DOTALL)


@dataclass(frozen=True)
class ProfileAnswer:
    """A profile as rig.yaml names it, its footprint, the files that are written for it, and what an import asks."""

    word: str
    footprint: int
    files: Mapping[str, str] = field(default_factory=dict)
    questions: tuple[str, ...] = ()


def profile_of(word: str) -> ProfileAnswer:
    """`spot-16bit`, `own/spot.yaml`, `spot.gdtf` or `spot.gdtf:MODE`. Raises InputError."""
    built_in = built_in_profiles()
    if word in built_in:
        return ProfileAnswer(word, _footprint(_text(built_in[word]), word))
    if match := _GDTF.fullmatch(word):
        return _imported(Path(match[1]), match[2])
    path = Path(word)
    if path.suffix.lower() in (".mvr", ".csv"):
        text = "a whole rig: take 0 trusses here, then `tetherlight import` it"
        raise InputError(f"found '{shown(word)}', {text}")
    if path.suffix.lower() not in (".yaml", ".yml") and not os.path.lexists(path):
        near = nearest(word, built_in)
        hint = f" (nearest is '{near}')" if near else ""
        allowed = f"{', '.join(built_in)}, or the path of a profile file or of a .gdtf"
        raise InputError(f"found '{shown(word)}'{hint}, allowed is {allowed}")
    content = _text(path)
    name = f"profiles/{slug(path.stem, 'profile')}.yaml"
    return ProfileAnswer(name, _footprint(content, path.name), {name: content})


def _imported(path: Path, mode: str | None) -> ProfileAnswer:
    """As `tetherlight import` would take the file into an empty folder."""
    with tempfile.TemporaryDirectory(prefix="tetherlight-new-") as scratch:
        taken = look(Path(scratch), path, Options(mode))
    meeting = taken.meeting
    if meeting.asks and not meeting.profiles:
        modes = ", ".join(f"{path}:{choice}" for choice in meeting.asks[0].choices[:12])
        raise InputError(f"{shown(path.name)}: {meeting.asks[0].text}; say it so: {modes}")
    if len(meeting.profiles) != 1:
        why = "; ".join([*(f"{what}: {why}" for what, why in meeting.skipped), *meeting.questions])
        raise InputError(f"{shown(path.name)}: no profile comes of it: {why or 'nothing in it is a head'}")
    (here,) = meeting.profiles
    return ProfileAnswer(here.file, int(here.document["footprint"]), taken.texts, meeting.questions)


def _text(path: Path) -> str:
    try:
        return decode(read_bytes(path))
    except (Bad, ValueError) as error:
        raise InputError(f"{shown(str(path))}: {error}, allowed is a profile file") from None


def _footprint(content: str, word: str) -> int:
    try:
        node, problems = parse(content)
        if problems:
            raise Bad(problems)
        return read_profile(node).footprint
    except Bad as error:
        first = error.problems[0]
        raise InputError(f"{shown(word)}:{first.line}: {first}") from None
