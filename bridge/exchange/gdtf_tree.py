"""The geometries of a mode as one tree of instances: references opened, circles cut, bounded."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from bridge.exchange.gdtf_matrix import UNTURNED, Placed, placed
from bridge.exchange.xml_tree import Element

MOST_INSTANCES = 20_000
DEEPEST_REFERENCES = 20
NO_GEOMETRY = {"Break"}


@dataclass(eq=False)
class Node:
    """A geometry where it stands. `element` is the geometry itself, for a reference the one that it refers to.

    `names` are those that a channel may call it by; `inside` are the top geometries that it stands in.
    """

    element: Element
    names: tuple[str, ...]
    position: str
    parent: Node | None = None
    inside: tuple[int, ...] = ()
    children: list[Node] = field(default_factory=list)

    def above(self) -> Iterator[Node]:
        """This node and all that it hangs from, up to the root."""
        node: Node | None = self
        while node is not None:
            yield node
            node = node.parent

    def below(self) -> Iterator[Node]:
        """This node and all below it, in document order."""
        waiting = [self]
        while waiting:
            node = waiting.pop()
            yield node
            waiting += reversed(node.children)

    def in_frame_of(self, ancestor: Node | None) -> Placed:
        """Where this node is in the frame of one that it hangs from (itself: no turn), None: that of the fixture."""
        out = UNTURNED
        for node in self.above():
            if node is ancestor:
                return out
            out = placed(node.position).then(out)
        return out


@dataclass
class Tree:
    """`root`: the geometry of the mode, or None. `notes`: what was found wrong on the way."""

    root: Node | None
    notes: list[str] = field(default_factory=list)

    def named(self, name: str) -> list[Node]:
        """All instances of this name."""
        return [node for node in self.root.below() if name in node.names] if self.root else []


def tree_of(fixture_type: Element, root_name: str) -> Tree:
    """The tree under the geometry that a mode names; without such a one the only one that is not referred to."""
    tops = [top for group in fixture_type.all("Geometries") for top in group.children]
    by_name: dict[str, Element] = {}
    for top in tops:
        by_name.setdefault(top.get("Name"), top)
    tree = Tree(None)
    root = by_name.get(root_name)
    if root is None:
        referred = {e.get("Geometry") for top in tops for e in top.walk() if e.tag == "GeometryReference"}
        free = [top for top in tops if top.get("Name") not in referred]
        root = free[0] if len(free) == 1 else None
        taken = "" if root is None else f": '{root.get('Name')[:60]}' taken, the only one that stands alone"
        tree.notes.append(f"the mode names a geometry '{root_name[:60]}' that the file has not{taken}")
    if root is not None:
        tree.root = _opened(root, by_name, tree.notes)
    return tree


def _opened(root: Element, by_name: dict[str, Element], notes: list[str]) -> Node:
    top = Node(root, (root.get("Name"),), root.get("Position"), inside=(id(root),))
    waiting, count = [top], 1
    while waiting:
        node = waiting.pop()
        for element in node.element.children:
            if element.tag in NO_GEOMETRY:
                continue
            child = _child(node, element, by_name, notes)
            if child is None:
                continue
            count += 1
            if count > MOST_INSTANCES:
                notes.append(f"more than {MOST_INSTANCES} geometries: the rest is not read")
                return top
            node.children.append(child)
            waiting.append(child)
    return top


def _child(parent: Node, element: Element, by_name: dict[str, Element], notes: list[str]) -> Node | None:
    name, position = element.get("Name"), element.get("Position")
    if element.tag != "GeometryReference":
        return Node(element, (name,), position, parent, parent.inside)
    wanted = element.get("Geometry")
    target = by_name.get(wanted)
    if target is None:
        _say(notes, f"geometry '{name[:60]}' refers to '{wanted[:60]}', which the file has not: left out")
        return None
    if id(target) in parent.inside or len(parent.inside) > DEEPEST_REFERENCES:
        why = "which it is a part of" if id(target) in parent.inside else "too deep"
        _say(notes, f"geometry '{name[:60]}' refers to '{wanted[:60]}', {why}: left out")
        return None
    # The reference's own position counts, not that of the geometry referred to (as pygdtf's tree has it).
    return Node(target, (name, wanted), position, parent, (*parent.inside, id(target)))


def _say(notes: list[str], text: str) -> None:
    if len(notes) < 20 and text not in notes:
        notes.append(text)
