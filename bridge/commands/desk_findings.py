"""What `check` says of working beside a desk, from the files alone: priorities, loops, and heads that are not ours."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from bridge.commands.findings import Finding, names_of
from bridge.rig.fixture import Fixture
from bridge.show.model import Show
from bridge.wire.settings import DeskGuide, DeskSettings, Slot

NET = "network.yaml"
USUAL_PRIORITY = 100  # of a source that says nothing else (E1.31, priority's default)


def desk_findings(show: Show) -> Iterator[Finding]:
    """All of it. A show without a desk has at most a share that means nothing."""
    desk = show.network.desk
    if desk is None:
        shared = [fixture.name for fixture in show.fixtures if fixture.desk != (None, None)]
        if shared:
            text = f"`desk:` means nothing without `desk:` in network.yaml: {names_of(shared)}"
            yield Finding("note", "rig.yaml", text)
        return
    under = desk.under(patched(show))
    yield from _priority(show, under)
    yield from _loops(desk, patched(show), under)
    yield from _universes(show, desk, under)
    yield from _shares(show, desk, under)
    yield from _slots(show, desk, under)
    if desk.guide is not None:
        yield from _guide(show, desk.guide, under)


def patched(show: Show) -> list[int]:
    """Our universes, rising."""
    return sorted({fixture.universe for fixture in show.fixtures})


def own(fixture: Fixture, desk: DeskSettings) -> tuple[str, ...]:
    """Channels of a fixture that are ours, if the head has them."""
    return desk.own if fixture.desk.own is None else fixture.desk.own


def _priority(show: Show, under: dict[int, int]) -> Iterator[Finding]:
    same = [str(ours) for ours, theirs in under.items() if ours == theirs]
    priority = show.network.sacn.priority
    if same and priority <= USUAL_PRIORITY:
        text = (
            f"sacn: priority {priority} is not above {USUAL_PRIORITY}, what a desk usually has, so on universe "
            f"{names_of(same)} nodes would obey or mix in the desk; 110 does, if the desk is at {USUAL_PRIORITY}"
        )
        yield Finding("warning", NET, text)


def _loops(desk: DeskSettings, ours: list[int], under: dict[int, int]) -> Iterator[Finding]:
    for universe, theirs in desk.universes.items():
        if theirs != universe and theirs in ours:
            text = (
                f"desk: universes: A LOOP: {theirs}, laid under our {universe}, is a universe that we send ourselves; "
                "name one that only the desk sends"
            )
            yield Finding("error", NET, text)
    looped = sorted({slot[0] for control in desk.controls for slot in control.slots if slot[0] in ours})
    for universe in looped:
        if under.get(universe) != universe:
            text = (
                f"controls: slots of universe {universe}, which we send ourselves: A LOOP unless the desk sends it too"
            )
            yield Finding("warning", NET, text)


def _universes(show: Show, desk: DeskSettings, under: dict[int, int]) -> Iterator[Finding]:
    alone = [fixture.name for fixture in show.fixtures if fixture.universe not in under]
    if alone:
        where = names_of([str(universe) for universe in patched(show) if universe not in under])
        text = f"no desk under universe {where}: sent alone, slots that no fixture owns as 0: {names_of(alone)}"
        yield Finding("note", NET, text)
    empty = [str(universe) for universe in desk.universes if universe not in patched(show)]
    if empty:
        text = f"desk: universes: rig.yaml has no head on our universe {names_of(empty)}: nothing is sent there"
        yield Finding("warning", NET, text)
    moved = [f"{ours}: {theirs}" for ours, theirs in under.items() if ours != theirs]
    if desk.way == "by-slot" and moved:
        text = f"by-slot: nodes take the desk's slots from the universe of the same number, not from {names_of(moved)}"
        yield Finding("warning", NET, text)
    if desk.way == "by-slot":
        text = "by-slot: a node that does not know per-address priority (start code 0xDD) obeys the desk alone"
        yield Finding("note", NET, text)
    fixed = {fixture.profile.name for fixture in show.fixtures if fixture.universe in under and fixture.profile.fixed}
    if fixed:
        text = (
            "`fixed` values count only while a head is sighted or walked; else the desk has those slots (a shutter, a "
            f"lamp?): profile {names_of(sorted(fixed))}"
        )
        yield Finding("note", NET, text)


def _shares(show: Show, desk: DeskSettings, under: dict[int, int]) -> Iterator[Finding]:
    heads = [fixture for fixture in show.fixtures if fixture.universe in under]
    bright = [fixture.name for fixture in heads if "dimmer" not in own(fixture, desk)]
    if bright:
        text = f"`own` without dimmer: areas, fades and moves in black cannot darken {names_of(bright)}"
        yield Finding("warning", NET, text)
    loose = [fixture.name for fixture in heads if not {"pan", "tilt"} <= set(own(fixture, desk))]
    if loose:
        yield Finding("warning", NET, f"`own` without pan or tilt: not ours to aim are {names_of(loose)}")
    for fixture in show.fixtures:
        missing = [channel for channel in fixture.desk.own or () if channel not in fixture.profile.channels]
        if missing:
            text = f"desk: own names {', '.join(missing)}, which profile {fixture.profile.name} has not"
            yield Finding("note", fixture.name, text)
    nobody = [c for c in desk.own if heads and not any(c in fixture.profile.channels for fixture in heads)]
    if nobody and desk.own != DeskSettings().own:
        yield Finding("note", NET, f"desk: own names {', '.join(nobody)}, which no head beside the desk has")


def _guide(show: Show, guide: DeskGuide, under: dict[int, int]) -> Iterator[Finding]:
    head = next(fixture for fixture in show.fixtures if fixture.name == guide.fixture)
    if head.universe not in under:
        text = f"guide: no desk's universe is laid under {head.universe}, so {head.name} guides nobody"
        yield Finding("warning", NET, text)
    follows = head.follows or show.stage.targets[0].name
    if follows != guide.target:
        text = f"guide: {head.name} follows {follows}; refused until it is handed to {guide.target}"
        yield Finding("warning", NET, text)
    if head.name not in show.poses:
        yield Finding("note", NET, f"guide: {head.name} has no pose yet, so where it points is not known: refused")


def _slots(show: Show, desk: DeskSettings, under: dict[int, int]) -> Iterator[Finding]:
    """Slots of controls: read twice, or a channel of a head that we follow with."""
    owned = {slot: fixture.name for fixture in show.fixtures for slot in _owned(fixture, desk, under)}
    read: Counter[Slot] = Counter()
    for index, control in enumerate(desk.controls, 1):
        wide = [(u, a + fine) for u, a in control.slots for fine in range(control.bits // 8)]
        read.update(wide)
        for slot in wide:
            if slot in owned:
                text = f"controls.{index}: {_written(slot)} is a channel of {owned[slot]} that is ours; use a free slot"
                yield Finding("warning", NET, text)
    for slot in sorted(slot for slot, times in read.items() if times > 1):
        yield Finding("note", NET, f"controls: {_written(slot)} is read {read[slot]} times")


def _owned(fixture: Fixture, desk: DeskSettings, under: dict[int, int]) -> Iterator[Slot]:
    """Slots of the desk under the channels of a fixture that are ours."""
    if fixture.universe in under:
        for channel in own(fixture, desk):
            for offset in fixture.profile.channels.get(channel, ()):
                yield under[fixture.universe], fixture.address + offset - 1


def _written(slot: Slot) -> str:
    return f"slot {slot[0]}.{slot[1]}"
