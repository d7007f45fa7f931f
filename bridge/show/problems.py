"""What is wrong in a show folder: problems with line and place, gathered over all files before any is raised."""

from __future__ import annotations

import difflib
import functools
from collections.abc import Iterable
from dataclasses import dataclass, replace

_LONGEST_WORD = 80  # characters of a word that are compared
_MANY = 100  # names beyond which only those that begin alike are compared


@dataclass(frozen=True)
class Problem:
    """One thing wrong at one 1-based line; `path` says where in the file, outermost first."""

    line: int
    text: str
    path: tuple[str, ...] = ()

    def inside(self, place: str) -> Problem:
        """The same problem, seen from one level further out."""
        return replace(self, path=(place, *self.path)) if place else self

    def __str__(self) -> str:
        return f"{'.'.join(self.path)}: {self.text}" if self.path else self.text


class Bad(Exception):
    """A value cannot be used: everything that is wrong with it and inside it. Never leaves the room `show`."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = list(problems)
        super().__init__("; ".join(str(problem) for problem in self.problems))


class Problems:
    """Collector over files. `lines` are the finished `file:line: text`, by file in order of reading, then by line."""

    def __init__(self) -> None:
        self._by_file: dict[str, list[Problem]] = {}

    def add(self, file: str, line: int, text: str) -> None:
        """Note one problem found outside the reading of a value, e.g. across files."""
        self._by_file.setdefault(file, []).append(Problem(line, text))

    def extend(self, file: str, problems: Iterable[Problem]) -> None:
        """Note what reading a file found."""
        self._by_file.setdefault(file, []).extend(problems)

    def __bool__(self) -> bool:
        return any(self._by_file.values())

    @property
    def lines(self) -> list[str]:
        """One `file:line: text` per problem; the same words at the same place are said once."""
        out = []
        for file, problems in self._by_file.items():
            out += [f"{file}:{problem.line}: {problem}" for problem in sorted(problems, key=lambda p: p.line)]
        return list(dict.fromkeys(out))


def nearest(word: str, allowed: Iterable[str]) -> str | None:
    """The allowed word that `word` was most likely meant to be, or None."""
    return _nearest(word[:_LONGEST_WORD].lower(), tuple(allowed))


@functools.lru_cache(maxsize=4096)
def _nearest(word: str, allowed: tuple[str, ...]) -> str | None:
    by_lower = {candidate.lower(): candidate for candidate in allowed}
    candidates = list(by_lower)
    if len(candidates) > _MANY:  # the names of a big rig: a full comparison would take minutes
        alike = [name for name in candidates if name[:2] == word[:2] and abs(len(name) - len(word)) <= 1]
        candidates = alike[:_MANY]
    close = difflib.get_close_matches(word, candidates, n=1, cutoff=0.5)
    return by_lower[close[0]] if close else None


def listed(words: Iterable[str], limit: int = 24) -> str:
    """Words for a message, cut short where there are many."""
    all_words = words if isinstance(words, list) else list(words)
    more = f" and {len(all_words) - limit} more" if len(all_words) > limit else ""
    return ", ".join(shown(word) for word in all_words[:limit]) + more


def unknown(what: str, found: str, allowed: Iterable[str]) -> str:
    """Message for a name that is not there, with the nearest that is."""
    names = list(allowed)
    near = nearest(found, names)
    hint = f", nearest is '{shown(near)}'" if near else ""
    return f"found unknown {what} '{shown(found)}'{hint}; allowed: {listed(names) or 'none is defined'}"


def shown(text: str, limit: int = 60) -> str:
    """Text from a file, fit for one line of a terminal: no control characters, cut short."""
    clean = "".join(char if char.isprintable() else repr(char)[1:-1] for char in text[:limit])
    return clean + ("..." if len(text) > limit else "")
