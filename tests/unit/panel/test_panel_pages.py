"""Names of operators: two pages never share one, and a tab that connects anew is the same operator."""

from __future__ import annotations

from bridge.panel.pages import Pages


class Quiet:
    """A client that keeps what it is sent."""

    def __init__(self) -> None:
        self.posted: list[str] = []
        self.offered: list[str] = []

    def post(self, text: str) -> None:
        self.posted.append(text)

    def offer(self, text: str) -> None:
        self.offered.append(text)


def test_pages_are_numbered_until_they_say_their_names() -> None:
    pages = Pages()
    first, second = pages.open(Quiet()), pages.open(Quiet())
    assert pages.names == ["operator", "operator 2"]
    pages.name(first, "Ann", "k1")
    pages.name(second, "Ann", "k2")
    assert pages.names == ["Ann", "Ann 2"]


def test_a_long_name_keeps_room_for_its_number() -> None:
    pages = Pages()
    names = []
    for key in "ab":
        page = pages.open(Quiet())
        pages.name(page, "x" * 32, key)
        names.append(page.name)
    assert len(set(names)) == 2
    assert max(map(len, names)) <= 32


def test_a_tab_that_connects_anew_takes_its_name_back() -> None:
    pages = Pages()
    old = pages.open(Quiet())
    pages.name(old, "Ann", "tab")
    new = pages.open(Quiet())
    assert pages.name(new, "Ann", "tab") is old
    assert pages.names == ["Ann"]
    pages.close(old)  # its line ends at last: that must not take the new one along
    assert pages.names == ["Ann"]


def test_news_and_frames_reach_every_page() -> None:
    pages, clients = Pages(), [Quiet(), Quiet()]
    for client in clients:
        pages.open(client)
    pages.post("news")
    pages.offer("frame")
    assert [client.posted for client in clients] == [["news"], ["news"]]
    assert [client.offered for client in clients] == [["frame"], ["frame"]]
