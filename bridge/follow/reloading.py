"""A show that was read again takes over from the one that runs, between two frames and without a jump of a lit beam.

What somebody has set live stays set; what was never touched takes the new file's value. Heads whose geometry has
changed and that still light their target go to their new angles slowly and in the light, others in the dark; a head
with another profile or address is a stranger and starts dark.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from bridge.follow.engine import Engine

SETTLE_S = 1.0  # sizes and heights go to their new values in so long


def take_over(new: Engine, old: Engine, now_s: float) -> None:
    """Let `new` go on where `old` is; `old` is not used any more afterwards."""
    new.restore(old.state())
    _take_new_values(new, old, now_s)
    strangers = np.array([not _same_unit(new, old, number) for number in range(len(new.rig))], dtype=bool)
    moved = strangers | _moved(new, old)
    if moved.any():
        new.moving.settle_in(moved)
    if strangers.any():
        new.lighting.begin(now_s, strangers)
        new.crew.not_in_desk_hands(strangers)


def _take_new_values(new: Engine, old: Engine, now_s: float) -> None:
    place, before = new.place, old.place
    specs = {target.name: target for target in old.stage.targets}
    for number, target in enumerate(new.stage.targets):
        spec = specs.get(target.name)
        for ramps, was, now in (
            (place.size, spec and spec.size, target.size),
            (place.height, spec and spec.height, target.height),
        ):
            if was is not None and ramps.goal[number] == was and was != now:
                ramps.set(number, now, now_s, SETTLE_S)
    areas = {area.name: area.on for area in old.stage.more_areas}
    for area in new.stage.more_areas:
        if area.name in areas and before.zones.more[area.name].on == areas[area.name]:
            place.zones.more[area.name].on = area.on
    floors, heights = (
        {f.name: f.height for f in old.stage.floors},
        dict(zip(before.floors.names, before.floors.heights, strict=True)),
    )
    for floor in new.stage.floors:
        if floor.name in floors and heights[floor.name] == floors[floor.name]:
            place.floors.set_height(floor.name, floor.height)
    switched, were = old.judge.state(), {area.name: area.on for area in old.stage.no_light}
    for number, area in enumerate(new.stage.no_light):
        if area.name in were and switched[area.name] == were[area.name]:
            new.judge.switch_no_light(number, area.on)
    new.crew.take_own_targets(old.crew)


def _same_unit(new: Engine, old: Engine, number: int) -> bool:
    """Whether a head is the one that it was: there before, with the same profile at the same address."""
    fixture = new.rig.fixtures[number]
    if fixture.name not in old.rig.names:
        return False
    was = old.rig.fixtures[old.rig.names.index(fixture.name)]
    return (fixture.profile, fixture.universe, fixture.address) == (was.profile, was.universe, was.address)


def _moved(new: Engine, old: Engine) -> np.ndarray:
    """Heads (N,) whose way to a point may be another one now."""
    count = len(new.rig)
    if new.stage.floors != old.stage.floors or new.stage.polygon.area != old.stage.polygon.area:
        return np.ones(count, dtype=bool)
    rows = {name: row for row, name in enumerate(old.rig.names)}
    known = np.array([rows.get(name, -1) for name in new.rig.names], dtype=np.intp)
    same = known >= 0
    for of in (
        lambda rig: rig.heads.position,
        lambda rig: rig.heads.rotation.reshape(-1, 9),
        lambda rig: rig.heads.terms,
        lambda rig: rig.faces,
        lambda rig: np.column_stack([rig.pan.low, rig.pan.high, rig.tilt.low, rig.tilt.high]),
    ):
        same = same & (of(new.rig) == of(old.rig)[known]).all(axis=1)
    return np.asarray(~same)
