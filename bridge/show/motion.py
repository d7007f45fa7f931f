"""Schema of a target's `source` and `motion` in stage.yaml: what steers it beside OSC, and how it is led."""

from __future__ import annotations

import re

from bridge.geometry.stage import Source, Walk
from bridge.show.keys import KeyReader
from bridge.show.values import bad, choice, length, list_of, name, number, switch
from bridge.show.yaml12 import Node

ALLOWED_SOURCE = "osc, or {input: tags, point: 1/7}, or a list of such points, the preferred first"
FASTEST = 100.0  # m/s
MOST_DELAY = 2.0  # s
MOST_NOISE = 10.0  # m
_POINT = re.compile(r"([0-9]{1,10})(?:/([0-9]{1,10}))?")
_noise = length(0, MOST_NOISE, above=True)


def sources(node: Node) -> tuple[Source, ...]:
    """`osc` is (), else a point of an input or a list of them, each once."""
    if isinstance(node.value, dict):
        return (_source(node),)
    if not isinstance(node.value, list):
        if node.value is not None and node.text == "osc":
            return ()
        raise bad(node, ALLOWED_SOURCE)
    found = tuple(list_of(_source, 1, what="a list of points {input: tags, point: 1/7}, a list")(node))
    places = [(source.input, source.point) for source in found]
    doubled = next((place for place in places if places.count(place) > 1), None)
    if doubled:
        raise bad(node, f"each point once ({doubled[1]} of {doubled[0]} is there twice)")
    return found


def _source(node: Node) -> Source:
    if not isinstance(node.value, list | dict) and node.text == "osc":
        raise bad(node, "a point {input: tags, point: 1/7} in a list: OSC is heard beside every one of them")
    m = KeyReader(node, "a mapping such as {input: tags, point: 1/7}")
    source = Source(
        m.required("input", name, "?"),
        m.required("point", point_name, "?"),
        m.optional("z", choice("floor", "tag"), "floor"),
    )
    m.done()
    return source


def point_name(node: Node) -> str:
    """A number, or GROUP/POINT; as protocols write it, without zeros in front."""
    found = None if isinstance(node.value, list | dict | None) else _POINT.fullmatch(node.text)
    if found is None:
        raise bad(node, "the number of a point, or GROUP/POINT such as 1/7")
    return "/".join(str(int(part)) for part in found.groups() if part is not None)


def walk(node: Node) -> Walk:
    """A target's `motion`."""
    m, default = KeyReader(node, "a mapping such as {predict: on, fastest: 9}"), Walk()
    found = Walk(
        predict=m.optional("predict", switch, default.predict),
        fastest=m.optional("fastest", number(0, FASTEST, above=True, unit="m/s"), default.fastest),
        noise=m.optional("noise", _auto_or_noise, None),
        delay=m.optional("delay", number(0, MOST_DELAY, unit="s"), default.delay),
    )
    m.done()
    return found


def _auto_or_noise(node: Node) -> float | None:
    if node.value == "auto":
        return None
    if isinstance(node.value, list | dict | bool):
        raise bad(node, f"auto, or a length above 0 and up to {MOST_NOISE:g} m")
    return _noise(node)
