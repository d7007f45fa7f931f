"""What pages may say: one test for each reason to refuse."""

from __future__ import annotations

import contextlib
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.errors import Refused
from bridge.panel.messages import MOST_ARGS, Ask, Name, Osc, Ping, read

TABLE = """
/target/lead/position /target/lead/velocity /target/lead/pointing /target/lead/height /target/lead/size
/target/lead/level /target/lead/alive /target/lead/take /target/lead/crew
/fixture/foh-1/level /fixture/foh-1/follow /fixture/foh-1/hold /fixture/foh-1/out /fixture/foh-1/trim
/fixture/foh-1/still /fixture/foh-1/find /fixture/foh-1/act /truss/foh/trim /truss/foh/still
/fixture/foh-1/desk /desk /level /dark /still /arm /lock /reload /area/thrust /no-light/rows /floor/riser
/sight/foh-1/near /sight/foh-1/point /sight/foh-1/nudge /sight/foh-1/zoom /sight/foh-1/focus /sight/foh-1/level
/frame/tags/record /frame/tags/solve /frame/tags/forget
/sight/foh-1/record /sight/foh-1/forget /sight/foh-1/done /sight/solve /walk /walk/confirm
"""
OTHERS = """
/feed/subscribe /operator /target/lead /target//position /target/x/y/level x /dark/1 /Target/lead/level
/target/lead/levels /target/lead/desk /target/\u00e9/level
"""


@pytest.mark.parametrize("address", TABLE.split())
def test_every_address_of_the_contract_may_be_sent(address: str) -> None:
    # design/interface.md, OSC 1.0 over UDP
    assert read(json.dumps({"do": "osc", "address": address, "args": [1, 0.5, "A"]})) == Osc(address, (1, 0.5, "A"))


@pytest.mark.parametrize("address", [*OTHERS.split(), "/target/a b/level", "/arm\n", "", None, 3])
def test_no_other_address_may_be_sent(address: object) -> None:
    with pytest.raises(Refused) as refused:
        read(json.dumps({"do": "osc", "address": address, "args": []}))
    assert refused.value.reason == "address"


@pytest.mark.parametrize(
    "args", [None, "1", {}, [None], [[1]], [{}], [1e10], ["x" * 251], ["a\0b"], [0] * (MOST_ARGS + 1)]
)
def test_arguments_are_short_lists_of_numbers_and_texts(args: object) -> None:
    with pytest.raises(Refused) as refused:
        read(json.dumps({"do": "osc", "address": "/dark", "args": args}))
    assert refused.value.reason == "arguments"


def test_numbers_that_are_not_finite_are_refused() -> None:
    for text in ("NaN", "Infinity", "-Infinity"):
        with pytest.raises(Refused):
            read('{"do":"osc","address":"/level","args":[' + text + "]}")


@pytest.mark.parametrize("text", ["", "[", "[1]", "3", '"x"', "null", "[" * 100_000, '{"do":"osc"'])
def test_what_is_no_object_is_refused(text: str) -> None:
    with pytest.raises(Refused) as refused:
        read(text)
    assert refused.value.reason == "json"


def test_names_are_put_in_order() -> None:
    assert read('{"do":"name","name":"  Ann   B ","key":"k"}') == Name("Ann B", "k")
    for name in ("", " ", "x" * 33, "a@b"):
        with pytest.raises(Refused):
            read(json.dumps({"do": "name", "name": name, "key": "k"}))


def test_pings_and_questions_are_read() -> None:
    assert read('{"do":"ping","id":7}') == Ping(7)
    assert read('{"do":"ask","id":1,"what":"nudge","dx":1}') == Ask(1, "nudge", {"dx": 1})
    for text in ('{"do":"ping","id":-1}', '{"do":"ping","id":true}', '{"do":"ask","id":1}', '{"do":"eat"}', "{}"):
        with pytest.raises(Refused):
            read(text)


@given(st.text(max_size=200) | st.binary(max_size=200).map(lambda raw: raw.decode("latin-1")))
def test_any_text_is_read_or_refused(text: str) -> None:
    with contextlib.suppress(Refused):
        read(text)
