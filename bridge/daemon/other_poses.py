"""Other poses on a person's word: one that the solve does not trust, or those from before the last solve.

Files are read, written and prepared from by the worker, in the order of the messages; the loop only takes what is
ready, as after a solve: in the dark, or with a slow move.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from bridge.daemon import records
from bridge.daemon.asked import SHOWN, Asked
from bridge.daemon.focus import Focus, LaterInLoop, Tell
from bridge.daemon.logs import LOG
from bridge.daemon.worker import Worker
from bridge.door.door import Door
from bridge.door.inbox import Refusal
from bridge.errors import Refused
from bridge.follow.commands.values import find
from bridge.show import load, poses_of
from bridge.show.load import POSES
from bridge.show.model import Show
from bridge.show.store import previous_of, swap_with_previous

PREVIOUS = previous_of(Path(POSES)).name


class OtherPoses:
    """`refuse` tells who asked what could not be done once a file was looked at; `tell` is for the feed."""

    def __init__(
        self,
        door: Door,
        focus: Focus,
        worker: Worker,
        tell: Tell,
        in_loop: LaterInLoop,
        refuse: Callable[[Refusal], None],
    ) -> None:
        self._door, self._focus, self._tell = door, focus, tell
        self._asked = Asked(worker, in_loop, refuse)

    def accept(self, fixture: str, sender: str, at_s: float) -> None:
        """Take the pose of poses.yaml for this head though it is not trusted, and note there who says so."""
        address = f"/sight/{fixture}/accept"
        find(self._door.engine.rig.names, fixture, "fixture")
        self._wait_for_solve(address)

        def job() -> None:
            folder = self._door.show.path
            show = load(folder, with_sightings=False)
            pose = show.poses.get(fixture)
            if pose is None:
                raise Refused("no-pose", f"{address}: {POSES} holds no pose of {fixture}: sight it and solve first")
            if pose.trusted:
                text = f"the pose of {fixture} in {POSES} is trusted and needs nobody's yes"
                raise Refused("trusted", f"{address}: {text}; /reload takes what was edited there")
            records.accept_pose(folder, fixture, sender)

            def taken() -> None:
                LOG.warning("pose of %s taken though it is not trusted: ACCEPTED by %s", fixture, sender)
                self._tell("/feed/accepted", fixture, sender)

            self._focus.take(show, {fixture: replace(pose, accepted=sender)}, taken)

        self._asked.do(job, address, sender, at_s)

    def back(self, sender: str, at_s: float) -> None:
        """Let poses.yaml and the version before change places, and take what may be taken of that."""
        address = "/sight/back"
        self._wait_for_solve(address)

        def job() -> None:
            folder = self._door.show.path
            show = self._before(folder, address)
            swap_with_previous(folder / POSES)
            fresh = {name: pose for name, pose in show.poses.items() if pose.may_be_taken}
            words = _words(show, len(fresh))

            def taken() -> None:
                for level, text in poses_of.words(show):
                    (LOG.warning if level == "warning" else LOG.info)("%s", text)
                LOG.warning("back to the poses before, by %s: %s", sender, words)
                self._tell("/feed/back", sender, words)

            self._focus.take(show, fresh, taken)

        self._asked.do(job, address, sender, at_s)

    @staticmethod
    def _before(folder: Path, address: str) -> Show:
        """The show with the poses from before; Refused where there are none, or none of this rig."""
        if missing := [name for name in (PREVIOUS, POSES) if not (folder / name).exists()]:
            raise Refused("nothing-before", f"{address}: there is no {missing[0]}, so nothing to go back to")
        show = load(folder, with_sightings=False, poses_file=PREVIOUS)
        was, now = show.poses_of.name if show.poses_of else "", poses_of.poses_of(show, "").name
        if was and now and was != now:
            raise Refused("other-rig", f"{address}: {PREVIOUS} is of the rig {was!r}, and this is {now!r}")
        if not show.poses:
            raise Refused("other-rig", f"{address}: {PREVIOUS} holds no pose of any head of this rig")
        return show

    def _wait_for_solve(self, address: str) -> None:
        if self._focus.solving:
            raise Refused("busy", f"{address}: a solve is running and writes other poses, wait for its end")


def _words(show: Show, taken: int) -> str:
    doubted = [name for name, pose in show.poses.items() if not pose.may_be_taken]
    if not doubted:
        return f"{taken} poses taken"
    some = ", ".join(doubted[:SHOWN]) + (" ..." if len(doubted) > SHOWN else "")
    return f"{taken} poses taken, {len(doubted)} not taken: they are not trusted ({some})"
