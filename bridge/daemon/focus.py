"""The daemon's share of a focus session: what is written to disk and solved, while the light goes on."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Mapping
from typing import Any

from bridge.daemon import records
from bridge.daemon.logs import LOG, Throttle
from bridge.daemon.solve_process import SolveAnswer, run_solve
from bridge.daemon.status import pointing
from bridge.daemon.worker import Worker
from bridge.door.door import Door
from bridge.door.events import Event, NewPoses
from bridge.errors import Refused
from bridge.follow.commands.values import find
from bridge.rig.fixture import OwnTables, Pose
from bridge.show.model import Show
from bridge.solve.measurements import Sighting

CONFIRM_AGAIN_S = 10.0
"""So long a mark must have been left alone: a key that is held must not write one entry after the other."""

CONFIRM_WITHIN_S = 60.0
"""So long after a walk its confirmation counts."""

Tell = Callable[..., None]
LaterInLoop = Callable[[Callable[[], None]], None]
Apply = Callable[[Event], None]


class Focus:
    """Sightings, solves and confirmed walks of the show. Files are written by the worker, never by the loop.

    `tell(address, *args)` is for the feed; `apply` is the door's, called in the loop; `clock` is the daemon's.
    """

    def __init__(
        self, door: Door, worker: Worker, tell: Tell, in_loop: LaterInLoop, apply: Apply, clock: Callable[[], float]
    ) -> None:
        self._door, self._worker, self._tell = door, worker, tell
        self._in_loop, self._apply, self._clock = in_loop, apply, clock
        self._solving, self._took_poses_s = False, -math.inf
        self._confirmed: dict[str, float] = {}
        self._lines, self._failures = Throttle(LOG.info, named=False), Throttle(LOG.warning)

    @property
    def solving(self) -> bool:
        """Whether a solve runs."""
        return self._solving

    def flush(self, now_s: float) -> None:
        """Say what was kept back."""
        self._lines.flush(now_s)
        self._failures.flush(now_s)

    def record(self, fixture: str, mark: str) -> None:
        """Keep where a head points now as its sighting of a mark, on this face.

        With it the zoom in force, which says how wide the pool was, and the focus only if a hand has set it: from that
        `solve` learns.
        """
        self._known(fixture, mark)
        if self._door.engine.crew.still.heads[self._door.engine.rig.names.index(fixture)]:
            text = f"{fixture} is still (people aloft) and dark, so no beam was on {mark}; clear it with /still 0 first"
            raise Refused("still", text)
        pan, tilt, zoom, focus = pointing(self._door, fixture)
        fresh = Sighting(fixture, mark, round(pan, 4), round(tilt, 4), zoom=zoom, focus=focus)

        def change(sightings: list[Sighting]) -> list[Sighting]:
            return [*(s for s in sightings if _key(s) != _key(fresh)), fresh]

        words = f"recorded {fixture} at {mark}: pan {pan:.3f}, tilt {tilt:.3f}"
        self._change(change, words, ("/feed/sighting", fixture, mark, float(pan), float(tilt)))

    def forget(self, fixture: str, mark: str) -> None:
        """Drop the sightings of a fixture on a mark, on both faces."""
        self._known(fixture, mark)

        def change(sightings: list[Sighting]) -> list[Sighting]:
            kept = [s for s in sightings if (s.fixture, s.mark) != (fixture, mark)]
            if len(kept) == len(sightings):
                raise Refused("unknown-name", f"there is no sighting of {fixture} at {mark}")
            return kept

        self._change(change, f"forgot {fixture} at {mark}", ("/feed/forgotten", fixture, mark))

    def confirm_walk(self, mark: str, wall_s: float) -> None:
        """Eyes have seen the beams on this mark: recorded in poses.yaml, for the heads that were lit on it."""
        find(self._door.show.stage.marks, mark, "mark")
        now_s, folder = self._clock(), self._door.show.path
        if self._solving:
            raise Refused(
                "busy", f"/walk/confirm {mark}: a solve is running and writes other poses; walk again after it"
            )
        engine = self._door.engine
        walked_s = engine.crew.hand.walked(engine.marks[mark]) if mark in engine.marks else -math.inf
        if walked_s < max(now_s - CONFIRM_WITHIN_S, self._took_poses_s):
            text = f"nobody has walked {mark} since; hold /walk {mark}, look at every beam, then confirm"
            raise Refused("no-walk", f"/walk/confirm {mark}: {text}")
        seen = [name for name, lit in zip(engine.rig.names, engine.crew.hand.seen, strict=True) if lit]
        if not seen or not self._door.transmission.armed:
            text = f"no head was lit on {mark} (not armed, dark, still, not there yet); hold /walk {mark} until all are"
            raise Refused("not-lit", f"/walk/confirm {mark}: {text}")
        asked_s, self._confirmed[mark] = self._confirmed.get(mark, -math.inf), now_s
        if now_s - asked_s < CONFIRM_AGAIN_S:
            raise Refused("again", f"/walk/confirm {mark}: just confirmed; once is enough")

        def job() -> None:
            verdict = records.confirm_walk(folder, mark, wall_s, seen)
            self._say(f"check walk confirmed at {mark}: {verdict}", ("/feed/confirmed", mark, verdict))

        def failed() -> None:
            self._confirmed.pop(mark, None)

        self._worker.do(lambda: self._guarded(job, f"the check walk at {mark}", failed))

    def solve(self) -> None:
        """Start a solve in a process of its own; refused while one runs."""
        if self._solving:
            raise Refused("busy", "/sight/solve: a solve is running, wait for its end")
        self._solving = True
        LOG.info("solving in the background ...")
        self._tell("/feed/solve", "started", "")
        self._worker.do(self._start_solve)  # after the sightings that are still to be written

    def _known(self, fixture: str, mark: str) -> None:
        find(self._door.engine.rig.names, fixture, "fixture")
        find(self._door.show.stage.marks, mark, "mark")

    def _change(self, change: records.Change, words: str, event: tuple[Any, ...]) -> None:
        folder = self._door.show.path

        def job() -> None:
            records.change_sightings(folder, change)
            self._say(words, event)

        self._worker.do(lambda: self._guarded(job, words))

    def _guarded(self, job: Callable[[], None], words: str, failed: Callable[[], None] = lambda: None) -> None:
        """Run a job of the worker; `failed` runs in the loop where it could not be done."""
        try:
            job()
        except Exception as error:  # a full disk, a file somebody broke by hand: said, and the show goes on
            text = f"{words}: {error}"
            self._in_loop(failed)
            self._in_loop(lambda: self._failures.count("NOT WRITTEN", text, self._clock()))
            self._in_loop(lambda: self._tell("/feed/notice", f"not written: {text}"[:250]))

    def _say(self, words: str, event: tuple[Any, ...]) -> None:
        self._in_loop(lambda: self._lines.count(words, words, self._clock()))
        self._in_loop(lambda: self._tell(*event))

    # Solving

    def _start_solve(self) -> None:
        threading.Thread(target=self._solve_and_report, name="solve", daemon=True).start()

    def _solve_and_report(self) -> None:
        try:
            self._take(run_solve(self._door.show.path))
        except Exception as error:
            answer = SolveAnswer(None, (f"the solve failed: {error!r}",))
            self._in_loop(lambda: self._end_solve(answer, {}))

    def _take(self, answer: SolveAnswer) -> None:
        """In the solve's thread: have what may be taken of its poses taken."""
        show = answer.show
        fresh = {} if show is None else {name: pose for name, pose in show.poses.items() if pose.may_be_taken}
        if show is None or not fresh:
            self._in_loop(lambda: self._end_solve(answer, {}))
        else:
            self.take(show, fresh, lambda: self._end_solve(answer, fresh))

    def take(self, show: Show, poses: Mapping[str, Pose], taken: Callable[[], None]) -> None:
        """In a thread: prepare these poses of a show, with what was learned of their optics, for the loop to take.

        `taken` is called in the loop right after. Where other poses, or another show, came in between, it is prepared
        again, by the worker, or what those have brought would be lost.
        """
        before = self._door.poses
        known = {name: pose for name, pose in poses.items() if name in self._door.engine.rig.names}
        optics = self._learned(show, known)
        prepared, marks = self._door.prepare_poses(known, optics), show.solved_marks

        def in_loop() -> None:
            if self._door.poses is not before:
                self._worker.do(lambda: self.take(show, poses, taken))
                return
            self._took_poses_s = self._clock()
            self._apply(NewPoses(self._took_poses_s, known, marks, prepared, optics))
            taken()

        self._in_loop(in_loop)

    def _learned(self, show: Show, trusted: Mapping[str, Pose]) -> dict[str, OwnTables]:
        """Tables of zoom and focus of trusted heads that differ from those in use."""
        use = {f.name: OwnTables(f.zoom_table, f.focus_table) for f in self._door.engine.rig.fixtures}
        now = {f.name: OwnTables(f.zoom_table, f.focus_table) for f in show.fixtures if f.name in trusted}
        return {name: tables for name, tables in now.items() if tables != use[name]}

    def _end_solve(self, answer: SolveAnswer, trusted: Mapping[str, Pose]) -> None:
        self._solving = False
        for log, texts in ((LOG.warning, answer.suspects), (LOG.info, answer.advice)):
            for text in texts:
                log("solve: %s", text)
                self._tell("/feed/solve", "note", text[:250])
        doubted = 0 if answer.show is None else len(answer.show.poses) - len(trusted)
        ending = "failed" if answer.show is None else "untrusted" if doubted else "done"
        text = f"{len(trusted)} poses taken" + (f", {doubted} not taken: they are not trusted" if doubted else "")
        (LOG.info if ending == "done" else LOG.error)("solve %s: %s", ending, text)
        self._tell("/feed/solve", ending, text)


def _key(sighting: Sighting) -> tuple[str, str, bool]:
    """One sighting per fixture, mark and face (face 1: tilt >= 0)."""
    return sighting.fixture, sighting.mark, sighting.tilt >= 0
