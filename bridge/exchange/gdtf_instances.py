"""Which geometries a mode of a GDTF file has, once for each reference, and what that does to addresses."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from bridge.exchange.gdtf_values import address_of, break_of
from bridge.exchange.xml_tree import Element

MOST_INSTANCES = 20_000
DEEPEST_REFERENCES = 20
LONGEST_LABEL = 80


@dataclass(eq=False)
class Instance:
    """A geometry of a mode where it stands. `name`: what channels call it; `label`: for people, and unlike any other.

    `references`: the GeometryReference elements by which it came, the outermost first.
    """

    name: str
    label: str
    parent: Instance | None = None
    references: tuple[Element, ...] = ()

    def above(self) -> Iterator[Instance]:
        """This one and all that it hangs from."""
        at: Instance | None = self
        while at is not None:
            yield at
            at = at.parent

    def hangs_from(self, other: Instance) -> bool:
        """It is the other, or a part of it."""
        return any(each is other for each in self.above())

    def placed(self, dmx_break: int | None) -> tuple[int, int]:
        """(break, what is added to offsets) for a channel of this break; None is `Overwrite`."""
        shift = 0
        for reference in reversed(self.references):
            breaks = list(reference.all("Break"))
            if dmx_break is None:
                found = breaks[-1] if breaks else None
                dmx_break = (break_of(found.get("DMXBreak")) or 1) if found is not None else 1
            else:
                found = next((each for each in breaks if break_of(each.get("DMXBreak")) == dmx_break), None)
            if found is not None:
                shift += address_of(found.get("DMXOffset")) - 1
        return dmx_break or 1, shift


def instances_of(fixture_type: Element, mode: Element) -> dict[str, list[Instance]]:
    """By name, in document order. A mode whose geometry is not in the file has those that nothing refers to."""
    tops = [top for group in fixture_type.all("Geometries") for top in group.children]
    by_name: dict[str, Element] = {}
    for top in tops:
        by_name.setdefault(top.get("Name"), top)
    root = by_name.get(mode.get("Geometry"))
    roots = [root] if root is not None else _free(tops)
    out: dict[str, list[Instance]] = {}
    waiting: list[tuple[Element, Instance, tuple[int, ...]]] = [
        (top, Instance(top.get("Name"), top.get("Name")), (id(top),)) for top in reversed(roots)
    ]
    count = 0
    while waiting and count < MOST_INSTANCES:
        element, instance, inside = waiting.pop()
        count += 1
        out.setdefault(instance.name, []).append(instance)
        for child in reversed(element.children):
            name, label = child.get("Name"), child.get("Name")
            if child.tag == "GeometryReference":
                target = by_name.get(child.get("Geometry"))
                if target is None or id(target) in inside or len(inside) > DEEPEST_REFERENCES:
                    continue  # `gdtf_geometry` says so
                reached = Instance(target.get("Name"), label, instance, (*instance.references, child))
                waiting.append((target, reached, (*inside, id(target))))
            elif child.tag != "Break":
                label = f"{instance.label}/{label}"[-LONGEST_LABEL:] if instance.references else label
                waiting.append((child, Instance(name, label, instance, instance.references), inside))
    return out


def _free(tops: list[Element]) -> list[Element]:
    referred = {each.get("Geometry") for top in tops for each in top.walk() if each.tag == "GeometryReference"}
    return [top for top in tops if top.get("Name") not in referred]
