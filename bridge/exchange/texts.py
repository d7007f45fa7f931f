"""The texts of a show's files after an import: new ones with comments that say why, standing ones with theirs kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from textwrap import wrap
from typing import Any

from bridge.exchange import splicing
from bridge.exchange.found import Document
from bridge.exchange.meeting import MADE_UP_M, Meeting
from bridge.exchange.meeting_profiles import ProfileHere
from bridge.exchange.starting import starting_network, starting_stage
from bridge.show.imported import IMPORTED, imported_text
from bridge.show.load import NETWORK, RIG, STAGE
from bridge.show.rows import row

LONGEST = 118
_NEW_RIG = """version: 1
# Made from {source}. `tetherlight explain rig` says what each key means.
name: {name}
fixtures:
"""


def texts_of(meeting: Meeting, source: str, name: str) -> dict[str, str]:
    """By file, only those that change, in the order in which they are to be written. A new show is called `name`."""
    texts = {here.file: _profile_text(here, meeting) for here in meeting.profiles if here.changes}
    new = not meeting.show.has(RIG) and bool(meeting.rig)
    if meeting.rig and not meeting.show.has(STAGE):
        texts[STAGE] = starting_stage(name, *MADE_UP_M)
    if new and not meeting.show.has(NETWORK):
        texts[NETWORK] = starting_network()
    if new:
        texts[RIG] = _NEW_RIG.format(source=_comment(source), name=row(name)) + heads_text(meeting.rig)
    elif meeting.rig:
        texts[RIG] = splicing.with_heads(meeting.show.texts[RIG], meeting.show.heads, meeting.rig)
    if meeting.profiles or meeting.heads:
        texts[IMPORTED] = imported_text(meeting.imported)
    return {file: text for file, text in texts.items() if text != meeting.show.texts.get(file)}


def heads_text(heads: Iterable[Document], indent: str = "  ") -> str:
    """Fixtures as a rig lists them, a key a line."""
    return "".join(f"{indent}{line}\n" for line in splicing.head_lines(heads))


def _profile_text(here: ProfileHere, meeting: Meeting) -> str:
    if here.before is not None:
        return splicing.with_values(meeting.show.texts[here.file], here.before, here.document)
    return new_profile(here.document, here.found.source, here.found.mode, here.found.why)


def new_profile(document: Document, source: str, mode: str, why: Mapping[str, str]) -> str:
    """A profile file; each value that needs one has its reason as a comment."""
    lines = [
        "version: 1",
        f"# From {_comment(source)}, mode {_comment(mode)}.",
        "# Unproven until it was seen on a head: first light low, nobody near.",
    ]
    for key, value in document.items():
        if value == {}:
            continue
        if isinstance(value, dict) and key in ("fixed", "sight_fixed", "actions"):
            lines.append(f"{key}:")
            lines += [_line(f"  {name}: {row(each)}", why.get(f"{key}.{name}", "")) for name, each in value.items()]
        else:
            lines += _value_lines(key, value, why)
    return "".join(f"{line}\n" for line in lines)


def _value_lines(key: str, value: Any, why: Mapping[str, str]) -> list[str]:
    """A value in a row, its reasons above it; those of the keys in it too."""
    reasons = [text for path, text in why.items() if text.strip() and (path == key or path.startswith(f"{key}."))]
    if len(reasons) == 1 and len(line := _line(f"{key}: {row(value)}", reasons[0])) <= LONGEST:
        return [line]
    words = [line for text in reasons for line in wrap(f"{key}: {_comment(text)}", LONGEST - 2)]
    return [*(f"# {line}" for line in words), f"{key}: {row(value)}"]


def _line(text: str, why: str) -> str:
    return f"{text}   # {_comment(why)}" if why else text


def _comment(text: str) -> str:
    """Words of a file as a comment of one line: nothing in them ends it."""
    return "".join(char if char.isprintable() else " " for char in text)[:300].strip()
