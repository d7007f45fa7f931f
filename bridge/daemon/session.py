"""The daemon's share of a focus session: what is written to disk and solved, while the light goes on."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from bridge.daemon import records
from bridge.daemon.logs import LOG
from bridge.daemon.worker import Worker
from bridge.errors import Refused, TetherlightError
from bridge.geometry.stage import Point3
from bridge.rig.fixture import Pose
from bridge.show.model import Show
from bridge.solve.measurements import Sighting

SOLVE_NICE = 10
NAMES_COMPARED = 100
SOLVE_TIMEOUT_S = 600.0
_ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")

Event = Callable[..., None]
LaterInLoop = Callable[[Callable[[], None]], None]


class Engine(Protocol):
    """What is needed of `bridge.follow.engine.Engine` here."""

    def pointing(self, name: str) -> tuple[float, float, int | None, int | None]: ...
    def prepare_poses(self, poses: Mapping[str, Pose], marks: Mapping[str, Point3]) -> Callable[[], None]: ...


@dataclass(frozen=True)
class Solved:
    """What came out of a solve: the new show, or why not."""

    show: Show | None
    suspects: tuple[str, ...] = ()
    advice: tuple[str, ...] = ()


class Session:
    """Sightings, solves and confirmed walks of one show. Files are written by the worker, never by the loop."""

    def __init__(
        self,
        show: Show,
        engine: Engine,
        worker: Worker,
        event: Event,
        in_loop: LaterInLoop,
        keep_poses: Callable[[Mapping[str, Pose]], None],
    ) -> None:
        self._show, self._engine, self._worker = show, engine, worker
        self._event, self._in_loop = event, in_loop
        self._poses, self._keep_poses = dict(show.poses), keep_poses
        self._names = [fixture.name for fixture in show.fixtures]
        self._solving = False

    def keep_poses(self) -> None:
        """Have the poses that are aimed with written down, for a restart after a crash."""
        poses = dict(self._poses)
        self._worker.latest("poses in use", lambda: self._keep_poses(poses))

    def record(self, fixture: str, mark: str) -> None:
        """Keep where a head points now as its sighting of a mark, on this face."""
        self._known("fixture", fixture, self._names)
        self._known("mark", mark, self._show.stage.marks)
        pan, tilt, zoom, focus = self._engine.pointing(fixture)
        fresh = Sighting(fixture, mark, round(pan, 4), round(tilt, 4), zoom=zoom, focus=focus)

        def change(sightings: list[Sighting]) -> list[Sighting]:
            return [*(s for s in sightings if _key(s) != _key(fresh)), fresh]

        words = f"recorded {fixture} at {mark}: pan {pan:.3f}, tilt {tilt:.3f}"
        self._change(change, words, ("/feed/sighting", fixture, mark, float(pan), float(tilt)))

    def forget(self, fixture: str, mark: str) -> None:
        """Drop the sightings of a fixture on a mark, on both faces."""
        self._known("fixture", fixture, self._names)
        self._known("mark", mark, self._show.stage.marks)

        def change(sightings: list[Sighting]) -> list[Sighting]:
            kept = [s for s in sightings if (s.fixture, s.mark) != (fixture, mark)]
            if len(kept) == len(sightings):
                raise Refused("unknown-name", "there is no such sighting")
            return kept

        self._change(change, f"forgot {fixture} at {mark}", ("/feed/forgotten", fixture, mark))

    def solve(self) -> None:
        """Start a solve in a process of its own; refused while one runs."""
        if self._solving:
            raise Refused("busy", "/sight/solve: a solve is running, wait for its end")
        self._solving = True
        LOG.info("solving in the background ...")
        self._event("/feed/solve", "started", "")
        self._worker.do(self._start_solve)  # after the sightings that are still to be written

    def confirm_walk(self, mark: str, wall_s: float) -> None:
        """Eyes have seen every beam on this mark: recorded in poses.yaml."""
        self._known("mark", mark, self._show.stage.marks)
        folder = self._show.path

        def job() -> None:
            verdict = records.confirm_walk(folder, mark, wall_s)
            self._say(f"check walk confirmed at {mark}: {verdict}", ("/feed/confirmed", mark, verdict))

        self._worker.do(lambda: self._guarded(job, f"the check walk at {mark}"))

    def _known(self, kind: str, name: str, allowed: Any) -> None:
        if name in allowed:
            return
        import difflib

        near = difflib.get_close_matches(name, list(allowed)[:NAMES_COMPARED], 1, 0.0)  # slow: a frame waits for it
        raise Refused("unknown-name", f"no {kind} {name!r}" + (f"; did you mean {near[0]!r}?" if near else ""))

    def _change(self, change: records.Change, words: str, event: tuple[Any, ...]) -> None:
        def job() -> None:
            records.change_sightings(self._show.path, change)
            self._say(words, event)

        self._worker.do(lambda: self._guarded(job, words))

    def _guarded(self, job: Callable[[], None], words: str) -> None:
        try:
            job()
        except Exception as error:  # a full disk, a file somebody broke by hand: said, and the show goes on
            self._say(f"NOT WRITTEN: {words}: {error}", ("/feed/notice", f"not written: {words}: {error}"[:250]))

    def _say(self, words: str, event: tuple[Any, ...]) -> None:
        LOG.info("%s", words)
        self._in_loop(lambda: self._event(*event))

    def _start_solve(self) -> None:
        threading.Thread(target=self._solve_and_report, name="solve", daemon=True).start()

    def _solve_and_report(self) -> None:
        try:
            self._take(run_solve(self._show.path))
        except Exception as error:
            solved = Solved(None, (f"the solve failed: {error!r}",))
            self._in_loop(lambda: self._end_solve(solved, {}))

    def _take(self, solved: Solved) -> None:
        """In the solve's thread: prepare the trusted poses, then let the loop take them."""
        poses = solved.show.poses if solved.show is not None else {}
        trusted = {name: pose for name, pose in poses.items() if pose.trusted}
        if solved.show is None or not trusted:
            self._in_loop(lambda: self._end_solve(solved, {}))
            return
        take = self._engine.prepare_poses(trusted, solved.show.solved_marks)

        def in_loop() -> None:
            take()
            self._end_solve(solved, trusted)

        self._in_loop(in_loop)

    def _end_solve(self, solved: Solved, trusted: Mapping[str, Pose]) -> None:
        self._solving = False
        if trusted:
            self._poses.update(trusted)
            self.keep_poses()
        for log, texts in ((LOG.warning, solved.suspects), (LOG.info, solved.advice)):
            for text in texts:
                log("solve: %s", text)
                self._event("/feed/solve", "note", text[:250])
        doubted = 0 if solved.show is None else len(solved.show.poses) - len(trusted)
        ending = "failed" if solved.show is None else "untrusted" if doubted else "done"
        text = f"{len(trusted)} poses taken" + (f", {doubted} not taken: they are not trusted" if doubted else "")
        (LOG.info if ending == "done" else LOG.error)("solve %s: %s", ending, text)
        self._event("/feed/solve", ending, text)


def _key(sighting: Sighting) -> tuple[str, str, bool]:
    """One sighting per fixture, mark and face (face 1: tilt >= 0)."""
    return sighting.fixture, sighting.mark, sighting.tilt >= 0


def run_solve(show: Path) -> Solved:
    """`tetherlight solve` by exec, at low priority and with one BLAS thread; blocks: call it in a thread."""
    from bridge.show import load

    command = [sys.executable, "-m", "bridge", "solve", str(show), "--json"]
    process = subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, **_ONE_THREAD},
    )  # fmt: skip
    os.setpriority(os.PRIO_PROCESS, process.pid, SOLVE_NICE)
    try:
        out, err = process.communicate(timeout=SOLVE_TIMEOUT_S)
    except subprocess.TimeoutExpired:
        process.kill()
        return Solved(None, (f"the solve took longer than {SOLVE_TIMEOUT_S:.0f} s and was ended",))
    try:
        answer = json.loads(out)
    except ValueError:
        return Solved(None, (f"the solve gave no answer (exit {process.returncode}): {err.strip()[-400:]}",))
    if process.returncode not in (0, 1):
        return Solved(None, tuple(str(line) for line in answer.get("errors", [])) or (f"exit {process.returncode}",))
    suspects = tuple(_suspect(suspect) for suspect in answer.get("suspects", []))
    try:
        return Solved(load(show), suspects, tuple(str(line) for line in answer.get("advice", [])))
    except TetherlightError as error:
        return Solved(None, tuple(error.lines))


def _suspect(suspect: Mapping[str, Any]) -> str:
    """One doubt in words."""
    who = suspect.get("fixture") or "mark"
    instead = f" and fits mark {suspect['instead']}" if suspect.get("instead") else ""
    off_cm = float(suspect.get("misfit") or 0.0) * 100.0
    return f"{who} {suspect.get('mark')} is {off_cm:.0f} cm off{instead} ({suspect.get('kind')})"
