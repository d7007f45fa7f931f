"""The objects of an MVR scene where they stand: layers, groups and trusses nest, and their matrices multiply."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from bridge.exchange.mvr_fields import IDENTITY, Array, fields, matrix_of
from bridge.exchange.names import slug
from bridge.exchange.xml_tree import Element

UNREAD = frozenset(
    {"UserData", "Protocols", "Alignments", "CustomCommands", "Overwrites", "Connections", "Mappings", "Gobo"}
    | {"Projections", "Sources", "Geometry3D", "Geometries", "MappingDefinition"}
)
"""Elements that hold nothing of concern, left out while reading: pictures, video, networks of devices."""
TRUSSES = {"truss", "support"}
KINDS = {"layer", "groupobject", "sceneobject", "fixture", "videoscreen", "projector", *TRUSSES}
_BEARS_NOTHING = {"auxdata", "addresses", "matrix"}
_WORDS = {"groupobject": "group", "sceneobject": "object", "videoscreen": "video screen"}


@dataclass(frozen=True, eq=False)
class Bearer:
    """A truss, or a group round one: unlike every other, also of its name. `pieces`: trusses in it are parts of it."""

    name: str
    pieces: bool


@dataclass(frozen=True, eq=False)
class Place:
    """Where something in the scene stands: in what, with which matrix as written, on the way there, borne by what."""

    parent: Place | None = None
    label: str = ""
    matrix: str = ""
    way: tuple[str, ...] = ()
    bearer: Bearer | None = None

    @cached_property
    def world(self) -> Array | None:
        """(4, 4), mm: the product from the layer down to this. None where one of the matrices is none."""
        own, outer = matrix_of(self.matrix), self.parent.world if self.parent is not None else IDENTITY
        if own is None or outer is None:
            return None
        with np.errstate(all="ignore"):
            return outer @ own

    @property
    def lost(self) -> str:
        """Whose matrix is none, from the outside in; "" where each is one."""
        outer = self.parent.lost if self.parent is not None else ""
        return outer or ("" if matrix_of(self.matrix) is not None else self.label)

    @property
    def where(self) -> str:
        """`layer Front, group Left`; of a long way its ends."""
        way = self.way if len(self.way) <= 4 else (*self.way[:2], "...", *self.way[-2:])
        return ", ".join(way)


class Placed(NamedTuple):
    """A fixture or another object of the scene; `kind` and the keys of `said` are in small letters."""

    kind: str
    element: Element
    said: dict[str, str]
    place: Place


class Scene:
    """All of a GeneralSceneDescription that is of concern here.

    `defined`: how many fixtures are in definitions of symbols, by the symbol's name.
    """

    def __init__(self, root: Element) -> None:
        self._root = root
        self._positions: dict[str, str] = {}
        self._trusses: dict[Bearer, str] = {}
        self._taken: set[str] = set()
        self._counts: Counter[str] = Counter()
        self.defined: Counter[str] = Counter()
        for element in root.walk():
            if element.tag.casefold() == "auxdata":
                self._aux(element)

    def _aux(self, aux: Element) -> None:
        for child in aux.children:
            said = fields(child)
            if child.tag.casefold() == "position" and said.get("uuid"):
                self._positions.setdefault(said["uuid"].casefold(), said.get("name", ""))
            elif child.tag.casefold() == "symdef":
                count = sum(each.tag.casefold() == "fixture" for each in child.walk())
                if count:
                    self.defined[said.get("name", "") or said.get("uuid", "")] += count

    def objects(self) -> Iterator[Placed]:
        """Everything placed, in document order, parents before what they bear."""
        waiting = [(self._root, Place())]
        while waiting:
            element, place = waiting.pop()
            kind = element.tag.casefold()
            if kind in KINDS:
                said = fields(element)
                place = _placed(element, kind, said, place)
                yield Placed(kind, element, said, place)
            if kind not in _BEARS_NOTHING:
                waiting += ((child, place) for child in reversed(element.children))

    def truss_of(self, fixture: Placed) -> str:
        """Its truss as a slug: what bears it, else its hanging position, else "". Like names are told apart."""
        bearer = fixture.place.bearer
        if bearer is not None:
            if bearer not in self._trusses:
                self._trusses[bearer] = self._named(slug(bearer.name, "truss"))
            return self._trusses[bearer]
        said = fixture.said.get("position", "")
        return slug(self._positions.get(said.casefold(), ""), "")

    def _named(self, wanted: str) -> str:
        """The name, or with a number that makes it unlike the trusses before; quick for thousands of one name."""
        name = wanted
        while name.casefold() in self._taken:
            self._counts[wanted.casefold()] += 1
            name = f"{wanted}-{self._counts[wanted.casefold()] + 1}"
        self._taken.add(name.casefold())
        return name


def _placed(element: Element, kind: str, said: dict[str, str], parent: Place) -> Place:
    name = said.get("name", "")[:60]
    label = f"{_WORDS.get(kind, kind)} {name}".strip()
    way = parent.way if kind == "fixture" else (*parent.way, label)
    return Place(parent, label, said.get("matrix", ""), way, _bearer(element, kind, name, parent.bearer))


def _bearer(element: Element, kind: str, name: str, above: Bearer | None) -> Bearer | None:
    """The nearest truss; a group counts as one where it holds a single truss, or pieces of one name."""
    if kind in TRUSSES:
        return above if above is not None and above.pieces else Bearer(name, False)
    if kind != "groupobject":
        return above
    held = (child for each in element.children for child in (each, *each.children))
    names = {fields(child).get("name", "") for child in held if child.tag.casefold() in TRUSSES}
    return Bearer(name or names.pop(), True) if len(names) == 1 else above
