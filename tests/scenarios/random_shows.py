"""Random shows, and what is said in them, for tests that hold two engines against each other. A seed makes all of it.

The usual rig has heads over the polygon, whose pan may have to wind. In the `outside` rig all heads hang clear of it,
as on most stages, so that nearly every frame of a quiet show takes the short ways.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from bridge.door.door import make
from bridge.door.events import NewPoses
from bridge.errors import Refused
from bridge.geometry.stage import Area, LevelMap, Target
from bridge.rig.fixture import Pose
from bridge.rig.profile import Action, ZoomTable
from bridge.wire.settings import LostInput

FRAME_S = 1 / 44
MOVED_BY_M = {"foh": 0.0, "mid": -12.0, "back": 4.0}  # trusses at y = -12, -9 and 13
LAP = Area("lap", ((-6.0, -6.0), (6.0, -6.0), (6.0, -2.0), (-6.0, -2.0)), (0.0, 2.0), on=False)
TARGETS = (
    Target("lead", sizes={"tight": 0.8, "half": 1.2}, heights={"seated": 0.9}),
    Target("second", height=1.5, size=1.5),
)
CANDELA = ZoomTable(((0.0, 55.0, 40000.0), (65535.0, 5.0, 400000.0)))
Said = tuple[Any, ...]


def hung_outside(made: Any) -> Any:
    """The same rig with all trusses clear of the polygon."""

    def moved(name: str, pose: Pose) -> Pose:
        x, y, z = pose.position
        return replace(pose, position=(x, y + MOVED_BY_M[name.split("-")[0]], z))

    poses = {name: moved(name, pose) for name, pose in made.poses.items()}
    at = {name: pose.position for name, pose in poses.items()}
    return replace(made, poses=poses, fixtures=tuple(replace(f, at=at[f.name]) for f in made.fixtures))


def random_show(seed: int, outside: bool) -> dict[str, Any]:
    """What `make_bridge` takes: limits, who follows whom, no-light areas, evenness, level maps, unsolved heads."""

    def change(made: Any) -> Any:
        rnd = random.Random(seed)
        made = hung_outside(made) if outside else made
        fixtures = []
        for fixture in made.fixtures:
            profile = replace(fixture.profile, zoom=CANDELA, actions={"reset": Action({12: 250}, hold=0.5, dark=1.2)})
            few = replace(fixture, profile=profile, outside="stay" if rnd.random() < 0.15 else "dark")
            if seed % 3 == 0 and rnd.random() < 0.15:  # leaves its home, and comes back
                few = replace(few, pan_limits=(-120.0, 120.0), tilt_limits=(-80.0, 80.0))
            few = replace(few, evenness=rnd.choice((None, "key")) if seed % 4 == 0 else None)
            fixtures.append(replace(few, follows="second" if rnd.random() < 0.2 else None))
        unsolved = rnd.choice(fixtures).name if seed % 4 == 3 else None
        poses = {
            name: replace(pose, aim_error_p95=0.1 if seed % 2 else None)
            for name, pose in made.poses.items()
            if name != unsolved
        }
        return replace(made, fixtures=tuple(fixtures), poses=poses)

    steps = LevelMap((-6.0, 6.0), (0.0, 8.0), ((1.0, 0.5), (0.7, 1.0)))
    return {
        "seed": seed,
        "change": change,
        "lost_input": LostInput(2.0, "dark" if seed % 4 == 1 else "hold", 1.0),
        "targets": TARGETS,
        "no_light": (replace(LAP, on=seed % 5 == 2),),
        "stay_within": 0.5 if seed % 2 else 5.0,
        "evenness": seed % 2 == 0,
        "at_most_lux": 9000.0 if seed % 3 == 2 else None,
        "level_map": steps if seed % 3 == 1 else None,
    }


def turned(poses: dict[str, Pose], degrees: float) -> dict[str, Pose]:
    """The same poses, turned about the vertical."""
    turn = Rotation.from_euler("z", degrees, degrees=True)
    return {
        name: replace(pose, rotation=tuple((turn * Rotation.from_quat(pose.rotation)).as_quat().tolist()))
        for name, pose in poses.items()
    }


class Script:
    """A performer who strolls, and people who do things: at `often` per second, and undo them a little later."""

    def __init__(self, seed: int, names: Sequence[str], often: float) -> None:
        self._rnd, self._names, self._often = random.Random(1000 + seed), names, often
        self._at: tuple[float, ...] = (0.0, 4.0)
        self._speed: tuple[float, ...] = (0.0, 0.0)  # metres a frame
        self._undo: list[Said] = []

    def frame(self) -> tuple[float, list[Said]]:
        """The seconds to the next frame, and what is said before it; `("poses", degrees)` are new poses."""
        rnd = self._rnd
        dt_s = FRAME_S * (rnd.uniform(1, 30) if rnd.random() < 0.005 else rnd.choice((1.0, 1.0, 1.0, 1.1)))
        self._speed = tuple(0.98 * v + rnd.gauss(0, 0.003) for v in self._speed)
        self._at = tuple(
            min(max(at + v, low), high)
            for at, v, low, high in zip(self._at, self._speed, (-6.2, -0.3), (6.2, 8.3), strict=True)
        )
        said: list[Said] = [("/target/lead/position", *self._at)] if rnd.random() < 0.8 else []
        if rnd.random() < 0.1:
            said.append(("/target/second/alive",))
        if rnd.random() < self._often * FRAME_S:
            said.append(self._something())
        if self._undo and rnd.random() < 2 * self._often * FRAME_S:
            said.append(self._undo.pop(rnd.randrange(len(self._undo))))
        return dt_s, said

    def _something(self) -> Said:
        return self._rnd.choice((self._to_target, self._to_head, self._to_place, self._to_head_in_hand))()

    def _to_target(self) -> Said:
        rnd, target = self._rnd, f"/target/{self._rnd.choice(('lead', 'second'))}"
        head = rnd.choice(self._names)
        return rnd.choice(
            (
                (f"{target}/position", rnd.uniform(-7, 7), rnd.uniform(-1, 9)),
                (f"{target}/position", rnd.uniform(-6, 6), rnd.uniform(0, 8), rnd.uniform(0, 2)),
                (f"{target}/velocity", rnd.uniform(-2, 2), rnd.uniform(-2, 2)),
                (f"{target}/pointing", head, rnd.uniform(-150, 150), rnd.uniform(20, 75)),
                (f"{target}/height", rnd.uniform(0.5, 2.0), rnd.uniform(0, 1)),
                (f"{target}/size", rnd.uniform(0.5, 3.0), rnd.uniform(0, 1)),
                (f"{target}/level", rnd.choice((0.0, rnd.random(), 1.0)), rnd.uniform(0, 1)),
                (f"{target}/crew", *rnd.sample(list(self._names), 5)),
                ("/target/lead/size", "tight", 0.5),
                ("/target/second/position", rnd.uniform(-6, 6), rnd.uniform(0, 8)),
                ("/target/second/position", rnd.uniform(-6, 6), rnd.uniform(0, 8)),
            )
        )

    def _to_head(self) -> Said:
        rnd, name = self._rnd, self._rnd.choice(self._names)
        truss = name.split("-")[0]
        switched = rnd.choice(
            (
                *(f"/fixture/{name}/{word}" for word in ("hold", "out", "still", "find")),
                *("/dark", "/still", f"/truss/{truss}/still"),
            )
        )
        if rnd.random() < 0.6:
            self._undo.append((switched, 0))
            return (switched, 1)
        return rnd.choice(
            (
                (f"/fixture/{name}/follow", rnd.choice(("lead", "second"))),
                (f"/fixture/{name}/level", rnd.random(), rnd.uniform(0, 1)),
                (f"/fixture/{name}/trim", rnd.uniform(-0.5, 0.5), rnd.uniform(-0.5, 0.5)),
                (f"/truss/{truss}/trim", rnd.uniform(-0.3, 0.3), 0.1),
                (f"/fixture/{name}/act", "reset"),
            )
        )

    def _to_place(self) -> Said:
        rnd = self._rnd
        return rnd.choice(
            (
                ("/area/thrust", rnd.randint(0, 1)),
                ("/no-light/lap", rnd.randint(0, 1)),
                ("/floor/riser", rnd.uniform(0, 1)),
                ("/level", rnd.uniform(0.3, 1), rnd.uniform(0, 1)),
                ("/walk", rnd.choice("ABCDE")),
                ("poses", rnd.choice((0.0, 0.2, -0.3, 5.0))),
            )
        )

    def _to_head_in_hand(self) -> Said:
        rnd, sight = self._rnd, f"/sight/{self._rnd.choice(self._names)}"
        self._undo.append((f"{sight}/done",))
        return rnd.choice(
            (
                (f"{sight}/point", rnd.uniform(-150, 150), rnd.uniform(-75, 75)),
                (f"{sight}/nudge", rnd.uniform(-5, 5), rnd.uniform(-5, 5)),
                (f"{sight}/near", rnd.choice("ABCDE")),
                (f"{sight}/level", rnd.random()),
                (f"{sight}/zoom", rnd.random()),
                (f"{sight}/focus", rnd.random()),
            )
        )


class Twin:
    """Another engine of the show of a bridge, taken up from plain data, that is told what the bridge is told."""

    def __init__(self, bridge: Any, state: Any) -> None:
        made = make(bridge.door.show, bridge.door.poses)
        self.engine, self._commands, self.now_s = made.engine, made.commands, bridge.now_s
        self.engine.restore(state)

    def say(self, address: str, *args: Any) -> None:
        self._commands.handle(address, args, "127.0.0.1", self.now_s)

    def apply(self, event: NewPoses) -> None:
        self.engine.adopt(self.engine.prepare(event.poses), event.marks)

    def tick(self) -> Any:
        self.frame = self.engine.tick(self.now_s)
        return self.frame


def play(players: Sequence[Any], script: Script, poses: dict[str, Pose], frames: int) -> Iterator[int]:
    """Tell and tick all players (bridges, twins) alike for so many frames; they must refuse alike."""
    for number in range(frames):
        dt_s, said = script.frame()
        now_s = round((players[0].now_s + dt_s) * 1e6) / 1e6
        for player in players:
            player.now_s = now_s
        for address, *args in said:
            if address == "poses":
                act: Callable[[Any], Any] = lambda p, by=args[0]: p.apply(NewPoses(now_s, turned(poses, by)))  # noqa: E731, B023
            else:
                act = lambda p, a=address, v=tuple(args): p.say(a, *v)  # noqa: E731
            refusals = {_refusal(act, player) for player in players}
            assert len(refusals) == 1, (address, args, refusals)
        for player in players:
            player.tick()
        yield number


def _refusal(act: Callable[[Any], Any], player: Any) -> str:
    try:
        act(player)
    except Refused as refused:
        return refused.reason
    return ""


def differences(ours: Any, theirs: Any) -> list[str]:
    """Names of what differs, in any bit, between two frames."""
    return [f.name for f in fields(ours) if not _equal(getattr(ours, f.name), getattr(theirs, f.name))]


def _equal(ours: Any, theirs: Any) -> bool:
    if not isinstance(ours, np.ndarray):
        return bool(ours == theirs)
    return np.array_equal(ours, theirs, equal_nan=ours.dtype.kind == "f")
