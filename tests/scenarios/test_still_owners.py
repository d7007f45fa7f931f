"""/still, /truss/NAME/still, /fixture/NAME/still: "cleared only by 0 from the host that set it, or by `0 override` from
another"."""

from __future__ import annotations

from typing import Any

import pytest

HERE, THERE, ELSEWHERE = "127.0.0.1", "127.0.0.9", "127.0.0.5"
SWITCHES = {"/still": "foh-1", "/truss/mid/still": "mid-2", "/fixture/foh-1/still": "foh-1"}


def is_still(bridge: Any, name: str) -> bool:
    bridge.run(1 / 44)
    return bool(bridge.state(name) == "still")


@pytest.fixture(params=list(SWITCHES))
def switch(request: pytest.FixtureRequest) -> tuple[str, str]:
    return request.param, SWITCHES[request.param]


def test_only_the_host_that_set_it_clears_it(bridge: Any, switch: tuple[str, str]) -> None:
    address, head = switch
    bridge.say(address, 1, host=THERE)
    refusal = bridge.refused(address, 0, host=HERE)
    assert refusal.reason == "owner"
    assert THERE in str(refusal)
    assert is_still(bridge, head)
    bridge.say(address, 0, host=THERE)
    assert not is_still(bridge, head)


def test_another_clears_it_on_purpose(bridge: Any, switch: tuple[str, str]) -> None:
    address, head = switch
    bridge.say(address, 1, host=THERE)
    bridge.say(address, 0, "override", host=HERE)
    assert not is_still(bridge, head)


def test_of_two_owners_each_clears_its_own(bridge: Any, switch: tuple[str, str]) -> None:
    address, head = switch
    for host in (THERE, HERE, THERE):
        bridge.say(address, 1, host=host)
    bridge.say(address, 0, host=THERE)
    assert is_still(bridge, head)
    assert bridge.refused(address, 0, host=THERE).reason == "owner"
    bridge.say(address, 0, host=HERE)
    assert not is_still(bridge, head)


def test_an_override_clears_it_for_all_owners(bridge: Any, switch: tuple[str, str]) -> None:
    address, head = switch
    for host in (THERE, HERE):
        bridge.say(address, 1, host=host)
    bridge.say(address, 0, "override", host=ELSEWHERE)
    assert not is_still(bridge, head)


def test_a_0_to_what_is_not_still_does_nothing(bridge: Any, switch: tuple[str, str]) -> None:
    bridge.say(switch[0], 0, host=THERE)
    assert not is_still(bridge, switch[1])


@pytest.mark.parametrize("args", [(1, "override"), (0, "please"), (0, 1), (), (0, "override", "x"), (2,)])
def test_no_other_word_clears_it(bridge: Any, switch: tuple[str, str], args: tuple[Any, ...]) -> None:
    bridge.say(switch[0], 1, host=THERE)
    assert bridge.refused(switch[0], *args, host=THERE).reason in ("arguments", "range")
    assert is_still(bridge, switch[1])


def test_clearing_one_leaves_the_others(bridge: Any) -> None:
    for address in ("/still", "/truss/foh/still", "/fixture/foh-1/still"):
        bridge.say(address, 1)
    bridge.say("/still", 0)
    bridge.say("/fixture/foh-1/still", 0, "override", host=THERE)
    bridge.run(1 / 44)
    assert {name for name in bridge.rig.names if bridge.state(name) == "still"} == {f"foh-{n}" for n in (1, 2, 3, 4)}
