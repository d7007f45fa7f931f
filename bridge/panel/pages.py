"""The pages that are open: who operates each, and what each is to be sent."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

from bridge.web.mailbox import Client


@dataclass
class Page:
    """One open page. `key` is the browser tab's own; `name` its operator's, unlike any other page's."""

    client: Client
    number: int
    name: str = ""
    key: str = ""


class Pages:
    """All of them."""

    def __init__(self) -> None:
        self._pages: list[Page] = []
        self._numbers = itertools.count(1)

    def __iter__(self) -> Iterator[Page]:
        return iter(list(self._pages))

    def __len__(self) -> int:
        return len(self._pages)

    @property
    def names(self) -> list[str]:
        """Who is there."""
        return [page.name for page in self._pages]

    def open(self, client: Client) -> Page:
        """A page has come; it is called by a number until it says its name."""
        page = Page(client, next(self._numbers))
        page.name = self._free("operator", page)
        self._pages.append(page)
        return page

    def close(self, page: Page) -> None:
        """A page has left."""
        if page in self._pages:
            self._pages.remove(page)

    def name(self, page: Page, name: str, key: str) -> Page | None:
        """Name a page. Returns an older page of the same tab, if there is one: it has lost its line and must close."""
        older = next((other for other in self._pages if other is not page and key and other.key == key), None)
        if older is not None:
            self.close(older)
        page.key, page.name = key, self._free(name, page)
        return older

    def post(self, text: str) -> None:
        """News for every page."""
        for page in self:
            page.client.post(text)

    def offer(self, text: str) -> None:
        """A frame for every page."""
        for page in self:
            page.client.offer(text)

    def _free(self, name: str, page: Page) -> str:
        """The name, or with a number where another page has it: two operators never share one."""
        taken = {other.name for other in self._pages if other is not page}
        numbered = (f"{name[:29]} {number}" for number in itertools.count(2))
        return next(found for found in itertools.chain([name], numbered) if found not in taken)
