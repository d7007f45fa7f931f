"""The link is looked at once a second and spoken of only when it changes."""

from bridge.daemon.link import LinkWatch, trouble


def test_a_link_that_is_lost_is_said_once_and_so_is_its_return() -> None:
    now = [""]
    link = LinkWatch("10.0.0.1", lambda address: now[0])
    assert link.look() == ""
    now[0] = "no link"
    assert [link.look(), link.look()] == ["NOTHING ARRIVES: no link", ""]
    assert link.down == "no link"
    now[0] = ""
    assert [link.look(), link.look()] == ["the link of 10.0.0.1 is back, packets leave again", ""]


def test_an_interface_that_goes_while_it_is_asked_for_is_found_missing_by_the_next_look() -> None:
    answers = iter([OSError(19, "No such device"), "gone"])

    def ask(address: str) -> str:
        if isinstance(answer := next(answers), OSError):
            raise answer
        return answer

    link = LinkWatch("10.0.0.1", ask)
    assert [link.look(), link.look()] == ["", "NOTHING ARRIVES: gone"]


def test_the_loopback_has_a_link_and_an_address_that_nobody_has_is_told() -> None:
    assert trouble("127.0.0.1") == trouble("0.0.0.0") == ""
    assert trouble("192.0.2.77") == "no interface of this machine has the address 192.0.2.77 any more"


def test_its_words_may_be_others() -> None:
    said = iter(["the cable is out", ""])
    watch = LinkWatch("10.0.0.1", lambda address: next(said), gone="NOT HEARD: {}", back="{} is back")
    assert [watch.look(), watch.look()] == ["NOT HEARD: the cable is out", "10.0.0.1 is back"]
