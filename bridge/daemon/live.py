"""The engine as the daemon uses it: one object for frames, the state that is kept, and what the feed tells."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np

from bridge.daemon.feed import FixtureRow, TargetRow
from bridge.follow import snapshot
from bridge.follow.engine import Engine
from bridge.follow.states import WORDS
from bridge.follow.status import targets
from bridge.geometry.stage import Point3
from bridge.rig.fixture import Pose
from bridge.rig.look import Look


class Live:
    """A thin cover over `Engine`; every time is seconds of the daemon's monotonic clock."""

    def __init__(self, engine: Engine, poses: Mapping[str, Pose]) -> None:
        """`poses` are those the engine was built with."""
        self._engine, self._poses = engine, dict(poses)
        self._numbers = {name: number for number, name in enumerate(engine.rig.names)}

    @property
    def any_still(self) -> bool:
        """Whether anything must neither move nor light."""
        return self._engine.any_still

    @property
    def switches(self) -> tuple[bool, bool, float]:
        """Dark, anything still, master."""
        controls = self._engine.controls
        return bool(controls.dark), bool(controls.any_still), float(controls.master)

    def begin(self, now_s: float) -> None:
        """Output starts now."""
        self._engine.begin(now_s)

    def tick(self, now_s: float) -> Look:
        """The frame for now."""
        return self._engine.tick(now_s)

    def black(self, now_s: float) -> Look:
        """The last frame without light, for a stop: nothing moves any more."""
        return (self._engine.frame or self._engine.tick(now_s)).dark()

    def pointing(self, name: str) -> tuple[float, float, int | None, int | None]:
        """Pan and tilt (deg) that a head is sent, and the raw zoom and focus where it has them."""
        number = self._numbers[name]
        pan, tilt = np.degrees(self._engine.hand_angles(number)).tolist()
        frame = self._engine.frame
        if frame is None:
            return pan, tilt, None, None
        return pan, tilt, _raw(frame.zoom_raw[number]), _raw(frame.focus_raw[number])

    def prepare_poses(self, poses: Mapping[str, Pose], marks: Mapping[str, Point3]) -> Callable[[], None]:
        """Called in the solve's thread, where the slow part is done; calling the result, in the loop, aims with these
        poses from then on. `marks` are places that were solved with the poses, for check walks.
        """
        merged = {**self._poses, **poses}
        aimed = self._engine.prepare(merged)

        def take() -> None:
            self._poses = merged
            self._engine.adopt(aimed)
            self._engine.marks.update(marks)

        return take

    def whole(self, now_s: float) -> dict[str, Any]:
        """Everything a restart within seconds goes on from, JSON-able."""
        return snapshot.whole(self._engine, now_s)

    def restore(self, whole: dict[str, Any], now_s: float) -> None:
        """Go on from what `whole` gave."""
        snapshot.restore_whole(self._engine, whole, now_s)

    def restore_lasting(self, lasting: dict[str, Any]) -> None:
        """Take up what `lasting` gave."""
        snapshot.restore_lasting(self._engine, lasting)

    def targets(self, now_s: float) -> list[TargetRow]:
        """Name, x, y, z (m), inside, age (s) of each target."""
        return list(targets(self._engine, now_s))

    def fixtures(self) -> Iterable[FixtureRow]:
        """Name, state, pan, tilt (deg), level of each fixture at the last frame."""
        frame = self._engine.frame
        if frame is None:
            return ()
        return zip(
            self._engine.rig.names,
            [WORDS[state] for state in frame.state.tolist()],
            np.degrees(frame.pan_rad).tolist(),
            np.degrees(frame.tilt_rad).tolist(),
            frame.level.tolist(),
            strict=True,
        )


def _raw(value: float) -> int | None:
    return None if np.isnan(value) else round(float(value))
