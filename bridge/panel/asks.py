"""Questions of a page that have an answer: one table, word -> async function `(panel, page, data) -> dict`.

To add one: a function in the module it belongs to, and its line in the table that `panel.py` gives to `Asks`. A `no` is
a Refused or another TetherlightError; its sentences reach the page as they are.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from bridge.errors import Refused, TetherlightError
from bridge.panel.messages import Ask
from bridge.panel.pages import Page

Answer = Callable[[Page, dict[str, Any]], Awaitable[dict[str, Any]]]


class Asks:
    """Answers what pages ask."""

    def __init__(self, table: Mapping[str, Answer]) -> None:
        self._table = table

    async def answer(self, page: Page, ask: Ask) -> dict[str, Any]:
        """The message to send back: `ok` with data, or not `ok` with a text and, where there are some, problems."""
        reply: dict[str, Any] = {"kind": "answer", "id": ask.id}
        try:
            found = self._table.get(ask.what)
            if found is None:
                raise Refused("ask", f"there is no question {ask.what!r}; allowed are {', '.join(sorted(self._table))}")
            return {**reply, "ok": True, **await found(page, ask.data)}
        except TetherlightError as error:
            lines = list(error.lines)
            return {**reply, "ok": False, "text": lines[0] if lines else str(error), "lines": lines} | error_data(error)
        except Exception as error:  # our own mistake: said to the page, and the panel goes on
            return {**reply, "ok": False, "text": f"a fault of this program, please report it: {error!r}", "lines": []}


def error_data(error: TetherlightError) -> dict[str, Any]:
    """What an error carries beside its sentences: `problems`, each with the field that it belongs to."""
    problems = getattr(error, "problems", None)
    return {"problems": list(problems)} if isinstance(problems, list | tuple) else {}
