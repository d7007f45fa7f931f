"""The daemon's share of `/frame/...`: what is recorded on marks, solved and written, while the light goes on.

The worker reads and writes frames.yaml and solves (some milliseconds; up to a few tenths of a second where something is
wrong with many marks); the loop only takes what is ready.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Protocol

import numpy as np

from bridge.daemon.asked import Asked
from bridge.daemon.logs import LOG
from bridge.daemon.worker import Worker
from bridge.door.door import Door
from bridge.door.events import Event, Message, NewFrames
from bridge.door.inbox import Refusal
from bridge.errors import Refused, UnsolvableError
from bridge.follow.commands.values import count, find, label, switch
from bridge.geometry.input_frame import InputFrame, Recorded
from bridge.geometry.stage import Point3, Stage
from bridge.show.frames import FramesFile, load_frames
from bridge.show.store import save_frames
from bridge.solve.input_frame import SHARES, FrameSolution, places_of, solve_frame
from bridge.solve.standing import standing

TEXT_SHOWN = 250


class Hearing(Protocol):
    """What is heard of tracking inputs."""

    def last_second(self, name: str, point: str, now_s: float) -> list[tuple[float, Point3]]:
        """(when, where in the input's axes) a point was seen within the last second."""

    def points(self, name: str, now_s: float) -> list[str]:
        """The points of an input that are heard now."""


class Frames:
    """`tell(address, *args)` is for the feed, `refuse` for who asked; both, and `apply`, are called in the loop."""

    def __init__(
        self,
        door: Door,
        hearing: Hearing,
        worker: Worker,
        tell: Callable[..., None],
        in_loop: Callable[[Callable[[], None]], None],
        apply: Callable[[Event], None],
        refuse: Callable[[Refusal], None],
        clock: Callable[[], float],
    ) -> None:
        self._door, self._hearing, self._tell, self._in_loop = door, hearing, tell, in_loop
        self._apply, self._clock, self._asked = apply, clock, Asked(worker, in_loop, refuse)

    def handle(self, name: str, word: str, message: Message) -> None:
        """Obey /frame/NAME/WORD; Refused where it cannot be begun."""
        find(self._door.show.network.inputs, name, "input of network.yaml")
        args = message.args
        match word:
            case "record":
                mark, point = count(args, "record", 2)
                self._record(name, label(mark, "the mark"), label(point, "the point"), message)
            case "solve":
                self._solve(name, bool(args) and switch(args, "solve"), message)
            case "forget":
                given = count(args, "forget", 0, 1)
                self._forget(name, label(given[0], "the mark") if given else None, message)

    def _record(self, name: str, mark: str, point: str, message: Message) -> None:
        """Keep where the input says that the point was for the last second, instead of what was kept of the mark."""
        find(self._door.show.stage.marks, mark, "mark")
        now_s = self._clock()
        seen = self._hearing.last_second(name, point, now_s)
        if not seen:
            heard = ", ".join(self._hearing.points(name, now_s)[:8]) or "none"
            raise Refused("not-heard", f"{message.address}: {name} says nothing of point {point}; heard: {heard}")
        shares = self._door.show.network.inputs[name].protocol in SHARES
        try:
            fresh = standing(mark, point, seen, now_s, shares)
        except Refused as error:
            raise Refused(error.reason, f"{message.address} {mark}: {error}") from None
        folder = self._door.show.path

        def job() -> None:
            file = load_frames(folder)
            others = [r for r in file.recorded.get(name, ()) if r.mark != mark]
            save_frames(folder, file.frames, {**file.recorded, name: (*others, fresh)})
            kept = ", ".join(r.mark for r in _all_of(file, name, (*others, fresh)))
            x, y, z = fresh.at
            where = f"{point} at {x:.3f} {y:.3f} {z:.3f}, sigma {fresh.sigma:.3f}, {len(seen)} times seen"
            self._say(name, "recorded", f"{mark}: {where}; recorded: {kept}", message.sender)

        self._asked.do(job, message.address, message.sender, message.at_s)

    def _forget(self, name: str, mark: str | None, message: Message) -> None:
        """Drop one record; without a mark, the frame and all that was recorded for it."""
        folder = self._door.show.path

        def job() -> None:
            file = load_frames(folder)
            known = _all_of(file, name)
            frames, recorded = dict(file.frames), dict(file.recorded)
            if mark is None:
                if frames.pop(name, None) is None and not known and name not in self._door.tracking.frames:
                    raise Refused("unknown-name", f"{message.address}: {name} has neither a frame nor records")
                recorded.pop(name, None)
            else:
                find([r.mark for r in known], mark, f"record of {name} on mark")
                recorded[name] = tuple(r for r in known if r.mark != mark)
                if name in frames:  # it stays in use; from what it was solved is no longer all there
                    frames[name] = replace(frames[name], recorded=())
            save_frames(folder, frames, recorded)
            if mark is None:
                self._in_loop(lambda: self._take(name, None))
            self._say(name, "forgotten", mark or f"{name} has no frame now and is not followed", message.sender)

        self._asked.do(job, message.address, message.sender, message.at_s)

    def _solve(self, name: str, scaled: bool, message: Message) -> None:
        """Solve, write and take; what a mistake stands out of is neither written nor taken."""
        show = self._door.show
        places, protocol = places_of(show.stage, dict(self._door.engine.marks)), show.network.inputs[name].protocol

        def job() -> None:
            file = load_frames(show.path)
            corners = _corners(show.stage)
            try:
                recorded = _all_of(file, name)
                found = solve_frame(recorded, places, corners, protocol, scaled, show.stage.accept)
            except UnsolvableError as error:
                raise Refused("unsolvable", f"{message.address}: {error}") from None
            for text in found.notes:
                self._say(name, "note", text, message.sender)
            for text in found.warnings:
                self._say(name, "warning", text, message.sender)
            if found.trusted:
                rest = tuple(record for record in recorded if record not in found.frame.recorded)
                save_frames(show.path, {**file.frames, name: found.frame}, {**file.recorded, name: rest})
                self._in_loop(lambda: self._take(name, found.frame))
            self._say(name, *_ending(found), message.sender)

        self._asked.do(job, message.address, message.sender, message.at_s)

    def _take(self, name: str, frame: InputFrame | None) -> None:
        """In the loop: from now on with this frame; None: without."""
        others = {key: kept for key, kept in self._door.tracking.frames.items() if key != name}
        self._apply(NewFrames(self._clock(), others if frame is None else {**others, name: frame}))

    def _say(self, name: str, word: str, text: str, sender: str) -> None:
        def say() -> None:
            loud = LOG.warning if word in ("warning", "unverified", "doubted") else LOG.info
            loud("frame of %s, by %s: %s: %s", name, sender, word, text)
            self._tell("/feed/frame", name, word, text[:TEXT_SHOWN])

        self._in_loop(say)


def _all_of(file: FramesFile, name: str, fresh: tuple[Recorded, ...] | None = None) -> tuple[Recorded, ...]:
    """What its frame was solved from, and what was recorded since, the newer one of each mark."""
    since = file.recorded.get(name, ()) if fresh is None else fresh
    before = file.frames[name].recorded if name in file.frames else ()
    by_mark: Mapping[str, Recorded] = {r.mark: r for r in (*before, *since)}
    return tuple(by_mark.values())


def _corners(stage: Stage) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    """Of the performance polygon, at the height of the tallest target."""
    height = max((target.height for target in stage.targets), default=0.0)
    return np.array([(x, y, height) for x, y in stage.polygon.area.corners])


def _ending(found: FrameSolution) -> tuple[str, str]:
    """A word and a sentence."""
    marks = zip(found.frame.recorded, found.residuals, strict=True)
    off = ", ".join(f"{record.mark} {100 * residual:.1f}" for record, residual in marks)
    if not found.trusted:
        return "doubted", f"NOT TAKEN, what was before stays in use; cm off: {off}"
    bound = f"places good to {100 * found.frame.sigma:.0f} cm (95 %, worst corner); cm off: {off}"
    return ("solved", bound) if found.verified else ("unverified", f"{bound}; nothing checks these records")
