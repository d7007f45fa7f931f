"""`tetherlight explain [KEY]`: what each key of a show's files means, from the readers that read them."""

from __future__ import annotations

import argparse
import difflib
import json
import re
import textwrap
from collections.abc import Iterator
from typing import Any

from bridge.commands.drawings import drawings_of
from bridge.errors import InputError
from bridge.show.meaning import Meaning, explained, tables
from bridge.show.schema import Key, written

WIDTH = 80
_NAMES = 23  # columns of the list that the keys take
_LABELS = 10
_TIED = "\a"  # stands for a space that no line may break at; no text has it
Entry = tuple[Key, Meaning]


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command."""
    what = "a key (hang, marks.sigma, stage.marks) or a file (stage.yaml); without it all are listed"
    parser.add_argument("key", nargs="?", metavar="KEY", help=what)
    parser.add_argument("--json", action="store_true", help="one JSON document instead of text")


def run(args: argparse.Namespace) -> int:
    """Print the list, a file's part of it, or the full page of a key."""
    pages, others = ([], []) if args.key is None else found(args.key)
    if args.json:
        entries = [*pages, *others] if args.key else explained()
        print(json.dumps({"keys": [_data(key, meaning) for key, meaning in entries]}, indent=2, ensure_ascii=False))
    elif args.key is None or not pages:
        _show(_listing([table for table in tables() if args.key is None or _words(table) == _words(args.key)]))
    else:
        _show(_pages(pages, others))
    return 0


def found(word: str) -> tuple[list[Entry], list[Entry]]:
    """The keys that a word means, and others of that name; no pages for a file. Raises InputError on an unknown one.

    `sigma` means every key of that name; where it is also the whole path of one, that one.
    """
    wanted = _words(word)
    if any(wanted == _words(file) for file in tables()):
        return [], [entry for entry in explained() if _words(entry[0].file) == wanted]
    for free in ("", r"\.[^.]+"):  # a word for a free name only where it is no key
        alike = [entry for entry in explained() if any(_means(wanted, form) for form in _forms(entry[0], free))]
        if alike:
            break
    else:
        raise InputError(_unknown(word))
    whole = [entry for entry in alike if any(_means(wanted, form) for form in _forms(entry[0], free)[:2])]
    pages = whole or alike
    return pages, [entry for entry in alike if entry not in pages]


def _words(text: str) -> list[str]:
    """`stage.yaml marks.NAME.at` -> [stage, marks, at], so that a key may be asked for in any of its forms."""
    plain = re.sub(r":\d+:|/\*|\.ya?ml\b|\[\]|\bNAME\b", " ", text)
    return [part for part in re.split(r"[.:/\s]+", plain) if part]


def _forms(key: Key, free: str) -> list[str]:
    """How a key may be asked for, the whole first: with its file, by its path, and by less and less of it.

    `free` is what may stand for a free name or an item's number, so that the place that a message names is understood.
    """
    path = re.sub(r"\[\]|\.NAME", " ", f"{key.path}{_shape(key)}")
    words = [*_words(key.file), *path.split(".")]
    forms = [word.replace(" ", f"(?:{free})?") for word in words]
    return [r"\.".join(forms[start:]) for start in range(len(forms))]


def _means(wanted: list[str], form: str) -> bool:
    return re.fullmatch(form, ".".join(wanted)) is not None


def _full(key: Key) -> list[str]:
    return _words(f"{key.file} {key.path}")


def _unknown(word: str) -> str:
    names = {".".join(words): None for key, _ in explained() for words in (_words(key.name), _full(key)[1:])}
    names |= {_words(file)[0]: None for file in tables()}
    near = difflib.get_close_matches(".".join(_words(word)), list(names), n=3, cutoff=0.5)
    hint = f"; nearest: {', '.join(near)}" if near else ""
    return f"found unknown key '{word[:60]}'{hint}; `tetherlight explain` lists all keys"


def _listing(files: list[str]) -> Iterator[tuple[str, str]]:
    """(style, line) of the list of keys: one line each, indented as in the file."""
    for file in files:
        yield "bold", f"{file}: {tables()[file].about}"
        for key, meaning in explained():
            if key.file == file:
                name = "  " * (1 + key.path.count(".")) + key.name + _shape(key)
                yield "", f"{name:<{_NAMES}} {meaning.short}"
        yield "", ""
    yield "", "`tetherlight explain KEY` tells all about one: unit, range, default, example."


def _shape(key: Key) -> str:
    """What follows a key's name where it holds a list or names: `fixtures[]`, `marks.NAME`."""
    below = next((k.path[len(key.path) :] for k, _ in _inside(key)), "")
    return "[]" if below.startswith("[]") else ".NAME" if below.startswith(".NAME") else ""


def _inside(key: Key) -> list[Entry]:
    return [entry for entry in explained() if (entry[0].file, entry[0].inside) == (key.file, key.path)]


def _pages(pages: list[Entry], others: list[Entry]) -> Iterator[tuple[str, str]]:
    drawn: list[str] = []
    for key, meaning in pages:
        yield "bold", f"{key.file}: {key.path}"
        yield from _indented(meaning.says, "  ")
        yield "", ""
        for label, text in _facts(key, meaning):
            yield from _indented(text, f"  {label:<{_LABELS}}")
        for below, said in _inside(key):
            yield from _indented(said.short, f"    {below.name:<16}")
        yield "", ""
        drawn += [drawing for drawing in drawings_of(key.path) if drawing not in drawn]
    for drawing in drawn:
        yield from (("", f"  {line}".rstrip()) for line in drawing.split("\n"))
    if others:
        paths = ", ".join(f"{'.'.join(_full(key))}" for key, _ in others)
        yield from _indented(paths, "See also: ")


def _facts(key: Key, meaning: Meaning) -> Iterator[tuple[str, str]]:
    if key.unit:
        yield "unit", "m (metres, or a text with a unit)" if key.unit == "m" else key.unit
    yield from (("" if number else "allowed", text) for number, text in enumerate(key.allowed))
    yield "default", default_text(key, meaning)
    yield "example", f"{key.name}: {meaning.example}"
    if _inside(key):
        yield "inside", {"": "", "[]": "each item has", ".NAME": "under each name"}[_shape(key)]


def default_text(key: Key, meaning: Meaning) -> str:
    """What holds where the key is absent."""
    if key.parse is None:
        return "allowed, but not read"
    if key.required:
        return "none: it must be there"
    return meaning.without or written(key.default) or "none"


def _indented(text: str, label: str) -> Iterator[tuple[str, str]]:
    """(style, line) of a text beside its label, wrapped to the width."""
    whole = text.replace(": ", f":{_TIED}")  # a key and its value stay in one line
    lines = textwrap.wrap(whole, WIDTH - len(label), break_on_hyphens=False, break_long_words=False) or [""]
    for number, line in enumerate(lines):
        yield "", ((" " * len(label) if number else label) + line.replace(_TIED, " ")).rstrip()


def _data(key: Key, meaning: Meaning) -> dict[str, Any]:
    return {
        "file": key.file,
        "key": key.path,
        "meaning": meaning.says,
        "unit": key.unit or None,
        "allowed": list(key.allowed),
        "required": key.required,
        "read": key.parse is not None,
        "default": None if key.required or key.parse is None else written(key.default),
        "without": meaning.without or None,
        "example": meaning.example,
    }


def _show(lines: Iterator[tuple[str, str]]) -> None:
    from rich.console import Console
    from rich.text import Text

    console = Console(highlight=False, soft_wrap=True)
    for style, line in lines:
        console.print(Text(line, style=style))
