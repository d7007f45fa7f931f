"""What `new` asks: each question with its reader, its default and what is allowed; options are read by the same."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from bridge.commands.new_profile import profile_of
from bridge.errors import InputError
from bridge.exchange.starting import MOST_HEADS, MOST_HEIGHT, MOST_TRUSSES, MOST_WIDTH, USUAL, usual_height
from bridge.show.folder import built_in_profiles
from bridge.show.problems import Bad
from bridge.show.scalars import resolve
from bridge.show.values import length, text, whole
from bridge.show.yaml12 import Node

_ASKED_OF_A_RIG = ("height", "profile")


class Question(NamedTuple):
    """`read` takes a word and raises Bad or InputError; `default` is a word, made from the answers so far."""

    text: str
    read: Callable[[str], Any]
    default: Callable[[Mapping[str, Any]], str]


def answers(folder: Path, given: Mapping[str, str], asking: bool) -> dict[str, Any]:
    """An answer to every question, by key: what was given, else what a person says, else the default.

    What asks about a rig is not asked where it has no heads. Raises InputError on a word that is not allowed, and where
    a person ends the questions (Ctrl-C, Ctrl-D).
    """
    try:
        return _answers(folder, given, asking)
    except KeyboardInterrupt:
        print()
        raise InputError("ended before the last question: nothing was written") from None


def _answers(folder: Path, given: Mapping[str, str], asking: bool) -> dict[str, Any]:
    found: dict[str, Any] = {key: _option(key, word) for key, word in given.items()}
    title = "".join(char for char in folder.resolve().name if char.isprintable()).strip()
    found = {"folder": title or "show", **found}
    if asking and set(QUESTIONS) - set(found):
        print("Enter takes what stands in brackets; Ctrl-C ends it, and nothing is written.")
    for key, question in QUESTIONS.items():
        if key in found:
            continue
        no_rig = 0 in (found.get("trusses"), found.get("heads"))
        if asking and not (no_rig and key in ("trusses", "heads", *_ASKED_OF_A_RIG)):
            found[key] = _asked(question, question.default(found))
        else:
            found[key] = question.read(question.default(found))
    del found["folder"]
    return found


def _option(key: str, word: str) -> Any:
    try:
        return QUESTIONS[key].read(word)
    except Bad as error:
        raise InputError(f"--{key}: {error}") from None
    except InputError as error:
        raise InputError(f"--{key}: {error}") from None


def _asked(question: Question, default: str) -> Any:
    """What a person says to it; nonsense is told what is allowed, and asked again."""
    while True:
        print(f"{question.text} [{default}]: ", end="", flush=True)
        try:
            line = sys.stdin.readline()  # not input(): a Ctrl-C in its first moment is lost until the next key
        except UnicodeDecodeError:
            print("  found bytes that are no text; allowed is text")
            continue
        if not line:
            raise KeyboardInterrupt
        word = line.strip()
        try:
            return question.read(word or default)
        except (Bad, InputError) as error:
            print(f"  {error}")


def _value(read: Callable[[Node], Any]) -> Callable[[str], Any]:
    """A reader of files as a reader of words."""
    return lambda word: read(Node(1, resolve(word), word))


def _usual(key: str) -> Callable[[Mapping[str, Any]], str]:
    return lambda _: f"{USUAL[key]:g} m" if isinstance(USUAL[key], float) else str(USUAL[key])


def _usual_height(found: Mapping[str, Any]) -> str:
    return f"{usual_height(found['width'], found['depth']):g} m"


_SIZE = _value(length(2.0, MOST_WIDTH))
QUESTIONS: dict[str, Question] = {
    "name": Question("What the show is called", _value(text), lambda found: str(found["folder"])),
    "width": Question("Width of the stage (metres, or with a unit: 40 ft)", _SIZE, _usual("width")),
    "depth": Question("Depth of the stage, from the setting line upstage", _SIZE, _usual("depth")),
    "trusses": Question(
        "How many trusses (0: the rig comes by `import`)", _value(whole(0, MOST_TRUSSES)), _usual("trusses")
    ),
    "heads": Question("How many heads on each", _value(whole(0, MOST_HEADS)), _usual("heads")),
    "height": Question("Height of the trusses above the stage", _value(length(2.0, MOST_HEIGHT)), _usual_height),
    "profile": Question(
        f"Profile of the heads ({', '.join(built_in_profiles())}, spot.gdtf, own.yaml)",
        profile_of,
        _usual("profile"),
    ),
}
