"""Points of tracking inputs, from the inputs' own axes to the stage, and to the targets that they steer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from bridge.door.events import Tracked
from bridge.follow.engine import Engine
from bridge.follow.keeping import Data, mapping_in
from bridge.geometry.input_frame import InputFrame, Recorded


class Tracking:
    """The frames of all inputs; a point of an input without one is not followed."""

    def __init__(self, frames: Mapping[str, InputFrame]) -> None:
        self.frames = dict(frames)

    def take(self, event: Tracked, engine: Engine, now_s: float) -> None:
        """Points were seen: those that targets follow are told to the engine, on the stage."""
        frame, steering = self.frames.get(event.input), engine.place.steering
        if frame is None:
            return
        for seen in event.seen:
            velocity = None if seen.velocity is None else frame.velocity(seen.velocity)
            for row in steering.by_point.get((event.input, seen.point), ()):
                engine.place.seen(row, frame.place(seen.place), seen.at_s, now_s, velocity)

    def renew(self, frames: Mapping[str, InputFrame], engine: Engine) -> None:
        """Other frames from now on: where one has changed, lit targets go over to it without a step."""
        before, self.frames = self.frames, dict(frames)
        for name in before.keys() | frames.keys():
            if before.get(name) != frames.get(name):
                engine.place.steering.map_anew(name)
        self.tell(engine)

    def tell(self, engine: Engine) -> None:
        """Let the engine know how far off the frames may be."""
        engine.place.frame_errors = {name: frame.sigma for name, frame in self.frames.items() if frame.sigma}

    def state(self) -> Data:
        """Plain data, for `restore`."""
        return frames_to_json(self.frames)

    def restore(self, data: Any) -> None:
        """Take up what `state` gave."""
        self.frames = frames_from_json(mapping_in(data))


def frames_to_json(frames: Mapping[str, InputFrame]) -> Data:
    """Frames as plain data."""
    return {name: asdict(frame) for name, frame in frames.items()}


def frames_from_json(data: Mapping[str, Any]) -> dict[str, InputFrame]:
    """Frames from what `frames_to_json` gave; KeyError, TypeError or ValueError on nonsense."""
    return {str(name): _frame(dict(values)) for name, values in data.items()}


def _frame(values: Data) -> InputFrame:
    recorded = tuple(Recorded(**{**r, "at": tuple(r["at"])}) for r in values.pop("recorded"))
    rotation = values.pop("rotation")
    values |= {"axes": tuple(values["axes"]), "origin": tuple(values["origin"])}
    return InputFrame(**values, rotation=None if rotation is None else tuple(rotation), recorded=recorded)
