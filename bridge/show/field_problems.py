"""Problems of a show as data, so that a page can show each one beside its field."""

from __future__ import annotations

import re
from dataclasses import asdict, dataclass
from typing import Any

from bridge.show.changes import ENDS
from bridge.show.load import STAGE
from bridge.show.problems import Bad
from bridge.show.spans import Span

_LINE = re.compile(r"(?P<file>.+?):(?P<line>[0-9]+): (?:(?P<path>[^\s:]+(?: on [^\s:]+, \w+)?): )?(?P<text>.*)", re.S)
_FOUND = re.compile(r"found (?P<found>.*?)[,;] allowed(?: is| are|:) (?P<allowed>.*)", re.S)


@dataclass(frozen=True)
class FieldProblem:
    """One thing wrong. `path` says where, as a change does (`marks.A.at`, `tapes.A/B.metres`), "" for a whole file.

    `text` is the sentence; `found` and `allowed` are its halves, "" where it has none.
    """

    file: str
    line: int
    path: str
    text: str
    found: str = ""
    allowed: str = ""

    def plain(self) -> dict[str, Any]:
        """As plain data, for JSON."""
        return asdict(self)


def field_problem(line: str, root: Span | None = None) -> FieldProblem:
    """A line of ShowError (`file:line: path: found X, allowed is Y`) as data; a tape by its ends, if `root` has it."""
    match = _LINE.fullmatch(line)
    if match is None:
        return FieldProblem("", 1, "", line)
    path = match["path"] or ""
    if root is not None and match["file"] == STAGE and path:
        path = named_path(root, tuple(path.split(".")))
    return _with_halves(match["file"], int(match["line"]), path, match["text"])


def _with_halves(file: str, line: int, path: str, text: str) -> FieldProblem:
    halves = _FOUND.fullmatch(text)
    return FieldProblem(file, line, path, text, *(halves.group("found", "allowed") if halves else ()))


def of_bad(error: Bad) -> list[FieldProblem]:
    """Problems of stage.yaml as data."""
    return [_with_halves(STAGE, p.line, ".".join(p.path), p.text) for p in error.problems]


def named_path(root: Span, path: tuple[str, ...]) -> str:
    """A path in text; a tape that is told by its number is told by its ends."""
    tapes = under(root, ENDS)
    if tapes is not None and path[0] == ENDS and len(path) > 1 and path[1].isdigit() and tapes.kind == "list":
        number = int(path[1][:6])
        between = under(tapes.items[number - 1].real(), "between") if 1 <= number <= len(tapes.items) else None
        ends = [end.real().text for end in between.items] if between is not None else []
        alike = sum(1 for tape in tapes.items if _ends_of(tape) == sorted(ends))
        if len(ends) == 2 and all(ends) and alike == 1:
            return ".".join((ENDS, "/".join(ends), *path[2:]))
    return ".".join(path)


def _ends_of(tape: Span) -> list[str]:
    between = under(tape.real(), "between")
    return sorted(end.real().text for end in between.items) if between is not None else []


def under(node: Span, name: str) -> Span | None:
    """The value under a key; None where this is no mapping or has no such key."""
    inside = dict(zip(node.names, node.items, strict=True)) if node.kind == "map" else {}
    return inside[name].real() if name in inside else None
