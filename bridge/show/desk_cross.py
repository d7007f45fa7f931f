"""Checks of `desk:` across files: universes that the rig patches, names that controls and the guide are about."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from bridge.show.addresses import name_in
from bridge.show.cross import Names
from bridge.show.problems import Problem, Problems, unknown
from bridge.show.rig import RigFile
from bridge.show.yaml12 import Node
from bridge.wire.settings import DeskSettings

FILE = "network.yaml"
Known = Mapping[str, Collection[str] | None]
"""Names by kind, None where a file could not be read."""


def check_desk(
    desk: DeskSettings, network: Node, stage: Node | None, rig: RigFile, names: Names, problems: Problems
) -> None:
    """Everything of `desk:` that another file must have. `network` is the file that it was read from."""
    node = network.get("desk")
    if node is None:
        return
    known = known_names(stage, rig, names)
    problems.extend(FILE, [p.inside("desk") for p in (*_universes(desk, node, rig), *_controls(desk, node, known))])
    problems.extend(FILE, [p.inside("desk") for p in _guide(desk, node, known)])


def known_names(stage: Node | None, rig: RigFile, names: Names) -> Known:
    """What the second word of an address may be, by kind."""
    trusses = sorted({entry.fixture.truss for entry in rig.entries if entry.fixture.truss})
    good = all(entry.good("truss") for entry in rig.entries) and names.fixtures is not None
    return {
        "fixture": names.fixtures,
        "target": names.targets,
        "truss": trusses if good else None,
        "area": _listed(stage, "more_areas"),
        "no-light area": _listed(stage, "no_light"),
        "floor": _listed(stage, "floors"),
    }


def _listed(stage: Node | None, key: str) -> list[str] | None:
    found = stage.get(key) if stage else None
    items = found.value if found is not None and isinstance(found.value, list) else []
    return [name.text for item in items if (name := item.get("name")) is not None] if stage else None


def _universes(desk: DeskSettings, node: Node, rig: RigFile) -> Iterator[Problem]:
    """A universe of ours that has no head is harmless beside one that has (`check` warns): a plan may be ahead."""
    if not rig.entries or not all(entry.good("universe") for entry in rig.entries):
        return
    patched = sorted({entry.fixture.universe for entry in rig.entries})
    found, none = node.get("universes"), desk.universes.keys().isdisjoint(patched)
    for ours in desk.universes:
        swapped = desk.universes[ours] in patched
        if ours not in patched and found is not None and (none or swapped):
            near = min(patched, key=lambda universe: abs(universe - ours))
            likely = "ours come first, then the desk's" if swapped else f"nearest is {near}"
            text = f"found our universe {ours}, which rig.yaml does not patch ({likely}); allowed: {_some(patched)}"
            yield Problem(found.line_of(str(ours)), text, ("universes",))


def _some(universes: list[int]) -> str:
    more = f" and {len(universes) - 24} more" if len(universes) > 24 else ""
    return ", ".join(map(str, universes[:24])) + more


def _controls(desk: DeskSettings, node: Node, known: Known) -> Iterator[Problem]:
    listed = node.get("controls")
    items = listed.value if listed is not None and isinstance(listed.value, list) else []
    for index, (control, item) in enumerate(zip(desk.controls, items, strict=False), 1):
        about = name_in(control.to)
        allowed = known[about[0]] if about else None
        if about and allowed is not None and about[1] not in allowed:
            yield Problem(item.line_of("to"), unknown(*about, allowed), ("controls", str(index), "to"))


def _guide(desk: DeskSettings, node: Node, known: Known) -> Iterator[Problem]:
    found = node.get("guide")
    if desk.guide is None or found is None:
        return
    for key, name in (("fixture", desk.guide.fixture), ("target", desk.guide.target)):
        allowed = known[key]
        if allowed is not None and name not in allowed:
            yield Problem(found.line_of(key), unknown(key, name, allowed), ("guide", key))
