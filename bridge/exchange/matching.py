"""Which fixture of somebody's drawing is which of the show: by its id, its number, its name, else by its patch."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from bridge.exchange.mvr_fields import patch_of, patches_of
from bridge.exchange.mvr_out import own_id
from bridge.exchange.mvr_scene import Placed
from bridge.exchange.names import slug
from bridge.rig.fixture import Fixture
from bridge.show.model import Show

WAYS = ("id", "number", "name", "patch")
_NUMBERS = ("fixtureid", "customid", "fixtureidnumeric")  # the first that is not 0 is a head's number, as in `mvr`


class Match(NamedTuple):
    """The drawing's fixture, and by what it was found: one of WAYS."""

    drawn: Placed
    by: str


def match_heads(show: Show, drawn: Sequence[Placed], ids: Mapping[str, str]) -> tuple[dict[str, Match], dict[str, str]]:
    """Matches by the show's names, and for the other heads why there is none.

    Each way is tried for all heads before the next. What fits more than one is no match, and is not tried on. `ids`: id
    -> fixture. A copy of a head (`multipatch`) is found by its id alone.
    """
    known: dict[str, set[str]] = {fixture.name: {own_id(show, f"fixture/{fixture.name}")} for fixture in show.fixtures}
    for id_, name in ids.items():
        known.setdefault(name, set()).add(_bare(id_))
    waiting, free = list(show.fixtures), list(drawn)
    found: dict[str, Match] = {}
    why: dict[str, str] = {}
    for way in WAYS:
        table: dict[object, list[Placed]] = {}
        for each in free:
            for key in _keys_of(each, way):
                table.setdefault(key, []).append(each)
        wants = [(fixture, _wanted(fixture, way, known, table)) for fixture in waiting]
        claims: dict[int, int] = {}
        for each in (each for _, fitting in wants for each in fitting):
            claims[id(each)] = claims.get(id(each), 0) + 1
        for fixture, fitting in wants:
            if len(fitting) > 1:
                lines = ", ".join(str(each.element.line) for each in fitting[:4])
                why[fixture.name] = f"its {way} fits {len(fitting)} fixtures of the file (lines {lines})"
            elif fitting and claims[id(fitting[0])] > 1:
                why[fixture.name] = f"its {way} fits a fixture of the file that another head fits too"
            elif fitting:
                found[fixture.name] = Match(fitting[0], way)
        waiting = [fixture for fixture in waiting if fixture.name not in found and fixture.name not in why]
        used = {id(match.drawn) for match in found.values()}
        free = [each for each in free if id(each) not in used]
    why |= {fixture.name: "no fixture of the file has its id, number, name or patch" for fixture in waiting}
    return found, why


def _wanted(
    fixture: Fixture, way: str, known: Mapping[str, set[str]], table: Mapping[object, list[Placed]]
) -> list[Placed]:
    keys: set[object]
    if way == "id":
        keys = set(known[fixture.name])
    elif way == "number":
        keys = {fixture.number} if fixture.number else set()
    elif way == "name":
        keys = {fixture.name}
    else:
        keys = {(fixture.universe, fixture.address)}
    fitting = [each for key in keys for each in table.get(key, ())]
    return list({id(each): each for each in fitting}.values())


def _keys_of(drawn: Placed, way: str) -> Iterator[object]:
    said = drawn.said
    if way == "id":
        yield _bare(said.get("uuid", ""))
    elif said.get("multipatch", "").strip("0-{} "):
        return
    elif way == "number":
        yield next((said[key] for key in _NUMBERS if said.get(key, "").strip("0")), "")
    elif way == "name":
        yield from {said.get("name", ""), slug(said.get("name", ""))}
    else:
        yield from {patch_of(text) for text in patches_of(drawn.element).values()}


def _bare(id_: str) -> str:
    return id_.strip().strip("{}").casefold()
