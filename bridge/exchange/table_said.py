"""What reading a table has to say, gathered: one sentence for all the rows that it is true of."""

from __future__ import annotations

from bridge.exchange.found import Ask, Skipped
from bridge.show.problems import shown

ROWS_NAMED = 6


class Said:
    """Questions and notes with the rows that they are about, skipped rows, and asks; each is said once."""

    def __init__(self) -> None:
        self.asks: list[Ask] = []
        self.skipped: list[Skipped] = []
        self._questions: dict[str, list[str]] = {}
        self._notes: dict[str, list[str]] = {}

    def question(self, text: str, row: str = "") -> None:
        """For a person to answer; `row` is one of those it is about."""
        self._questions.setdefault(text, []).append(row)

    def note(self, text: str, row: str = "") -> None:
        """Only to know."""
        self._notes.setdefault(text, []).append(row)

    def ask(self, about: str, text: str, choices: tuple[str, ...]) -> None:
        """A question that `--map` answers."""
        ask = Ask("map", about, text, choices)
        if ask not in self.asks:
            self.asks.append(ask)

    @property
    def questions(self) -> tuple[str, ...]:
        """Sentences, the rows before them."""
        return _sentences(self._questions)

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences, the rows before them."""
        return _sentences(self._notes)


def brief(text: str) -> str:
    """A cell as a message shows it."""
    return f"'{shown(text[:40])}'"


def _sentences(said: dict[str, list[str]]) -> tuple[str, ...]:
    return tuple(f"{_rows(rows)}{text}" for text, rows in said.items())


def _rows(rows: list[str]) -> str:
    named = [row for row in rows if row]
    if not named:
        return ""
    more = f" and {len(named) - ROWS_NAMED} more" if len(named) > ROWS_NAMED else ""
    return f"{'; '.join(named[:ROWS_NAMED])}{more}: "
