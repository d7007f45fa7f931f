"""A name that nobody knows costs the loop next to nothing: what is near it is not searched for there."""

from __future__ import annotations

import difflib
from typing import Any

import pytest

from bridge.errors import Refused
from tests.unit.door.stand_ins import say, small_door

LONG = "x" * 60_000
ADDRESSES: list[tuple[str, tuple[Any, ...]]] = [
    ("/target/{}/position", (1.0, 2.0)),
    ("/target/lead/size", ("{}",)),
    ("/target/lead/pointing", ("{}", 1.0, 2.0)),
    ("/target/lead/crew", ("{}",)),
    ("/fixture/{}/level", (1.0,)),
    ("/fixture/foh-1/follow", ("{}",)),
    ("/fixture/foh-1/act", ("{}",)),
    ("/truss/{}/trim", (1.0, 2.0)),
    ("/area/{}", (1,)),
    ("/no-light/{}", (1,)),
    ("/floor/{}", (1.0,)),
    ("/sight/{}/point", (1.0, 2.0)),
    ("/sight/foh-1/near", ("{}",)),
    ("/walk", ("{}",)),
    ("/{}/lead/position", (1.0, 2.0)),
]


@pytest.mark.parametrize(("address", "args"), ADDRESSES, ids=[address for address, _ in ADDRESSES])
@pytest.mark.parametrize("name", ["leed", LONG], ids=["short", "long"])
def test_no_search_for_the_nearest_name_holds_up_a_frame(
    monkeypatch: pytest.MonkeyPatch, address: str, args: tuple[Any, ...], name: str
) -> None:
    door = small_door()

    def searched(*_: Any, **__: Any) -> Any:
        raise AssertionError("a search of some milliseconds inside the loop")

    monkeypatch.setattr(difflib, "get_close_matches", searched)
    monkeypatch.setattr(difflib.SequenceMatcher, "ratio", searched)
    with pytest.raises(Refused):
        say(door, 1.0, address.format(name), *(arg.format(name) if isinstance(arg, str) else arg for arg in args))
