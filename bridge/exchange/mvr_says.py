"""What is said of many fixtures at once: one line for all of which the same is true."""

from __future__ import annotations

from collections.abc import Sequence

from bridge.exchange.found import Skipped

MANY = 3  # more fixtures of a type, left out for the same reason, are one line


class Says:
    """Questions, notes and what is left out, in the order in which each was first said."""

    def __init__(self) -> None:
        self._asked: dict[str, list[str]] = {}
        self._noted: dict[str, list[str]] = {}
        self._left: dict[tuple[str, str], list[tuple[str, str]]] = {}
        self._all: list[Skipped] = []

    def ask(self, text: str, name: str) -> None:
        """A question about a fixture; "" is none."""
        if text:
            self._asked.setdefault(text, []).append(name)

    def note(self, text: str, name: str) -> None:
        """Something to know about a fixture, or about the file (no name); "" is nothing."""
        if text:
            self._noted.setdefault(text, []).append(name)

    def skip(self, name: str, where: str, type_: str, why: str) -> None:
        """A fixture that is left out."""
        self._left.setdefault((type_, why), []).append((name, where))

    def skip_all(self, what: str, why: str) -> None:
        """Several things that are left out."""
        self._all.append(Skipped(what, why))

    def questions(self) -> tuple[str, ...]:
        """`Spot 1, Spot 2: the question`."""
        return tuple(_line(text, names) for text, names in self._asked.items())

    def notes(self) -> tuple[str, ...]:
        """`Spot 1, Spot 2: the note`."""
        return tuple(_line(text, names) for text, names in self._noted.items())

    def skipped(self) -> tuple[Skipped, ...]:
        """One for each fixture, or for all of a type that are left out for one reason."""
        found: list[Skipped] = []
        for (type_, why), fixtures in self._left.items():
            if len(fixtures) > MANY:
                names = listed([name for name, _ in fixtures])
                found.append(Skipped(f"{len(fixtures)} of type '{type_[:60]}': {names}", why))
            else:
                found += (Skipped(f"{name}, {where}" if where else name, why) for name, where in fixtures)
        return (*found, *self._all)


def _line(text: str, names: list[str]) -> str:
    named = list(dict.fromkeys(name for name in names if name))
    return f"{listed(named)}: {text}" if named else text


def shown(text: str) -> str:
    """A text of the file in a message."""
    return text if len(text) <= 60 else text[:57] + "..."


def listed(names: Sequence[str]) -> str:
    """`Spot 1, Spot 2, Spot 3 and 5 more`."""
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return ", ".join(names[:3]) + more
