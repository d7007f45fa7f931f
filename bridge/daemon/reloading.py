"""The show folder read again while the show runs: checked whole first, then taken between two frames, or refused."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

from bridge.daemon import summary
from bridge.daemon.interfaces import with_addresses
from bridge.daemon.logs import LOG
from bridge.daemon.loop import require_descriptors
from bridge.door.door import Door, make
from bridge.door.events import NewShow
from bridge.errors import Refused, ShowError, TetherlightError
from bridge.rig.fixture import Pose
from bridge.show import load
from bridge.show.model import Show
from bridge.show.texts import texts
from bridge.wire.settings import Network

SIGNAL = "the signal SIGHUP"


class Reloader:
    """Reads in a thread of its own. `take(event)` is called in the loop, `tell` gives lines to the feed."""

    def __init__(
        self,
        door: Door,
        in_loop: Callable[[Callable[[], None]], None],
        take: Callable[[NewShow], None],
        tell: Callable[..., None],
        clock: Callable[[], float],
    ) -> None:
        self._door, self._in_loop, self._take, self._tell, self._clock = door, in_loop, take, tell, clock
        self._running = False

    def request(self, by: str) -> None:
        """Read the show again, on somebody's word; Refused while that is being done."""
        if self._running:
            raise Refused("busy", "/reload: the show is being read, wait for its end")
        self._running = True
        LOG.info("reading the show again, by %s ...", by)
        self._begin()

    def _begin(self) -> None:
        threading.Thread(target=self._read, name="reload", daemon=True).start()

    def _read(self) -> None:
        in_use = self._door.poses
        try:
            event = self._prepared(self._door.show.path, in_use)
        except TetherlightError as error:
            lines = error.lines
            self._in_loop(lambda: self._refuse(lines))
        except Exception as error:
            text = f"a fault of this program, please report it: {error!r}"
            self._in_loop(lambda: self._refuse([text]))
        else:
            self._in_loop(lambda: self._end(event, in_use))

    def _prepared(self, folder: Path, in_use: Mapping[str, Pose]) -> NewShow:
        show = with_addresses(load(folder))
        problems = needs_restart(self._door.show.network, show.network)
        if problems:
            raise ShowError(problems)
        require_descriptors(2 * len({fixture.universe for fixture in show.fixtures}))  # the old ones are closed after
        show = replace(show, poses=trusted_or_in_use(show, in_use))
        return NewShow(0.0, show, texts(folder), make(show))

    def _end(self, event: NewShow, in_use: Mapping[str, Pose]) -> None:
        if self._door.poses is not in_use:  # a solve has ended meanwhile: its poses may not have been on disk yet
            self._begin()
            return
        self._running = False
        self._take(replace(event, at_s=self._clock()))
        show = event.show
        for level, text in summary.doubts(show):
            (LOG.warning if level == "warning" else LOG.info)("%s", text)
        text = f"the show is read again: {show.name}, {len(show.fixtures)} fixtures"
        LOG.info("%s", text)
        self._tell("/feed/reload", "done", text[:250])

    def _refuse(self, lines: list[str]) -> None:
        self._running = False
        LOG.error("NOT RELOADED, the old show runs on:")
        for line in lines:
            LOG.error("  %s", line)
            self._tell("/feed/reload", "refused", line[:250])


def trusted_or_in_use(show: Show, in_use: Mapping[str, Pose]) -> dict[str, Pose]:
    """The poses of a show, but one that is neither trusted nor accepted does not take the place of one in use."""
    poses = show.poses.items()
    return {name: in_use[name] if not pose.may_be_taken and name in in_use else pose for name, pose in poses}


def needs_restart(before: Network, after: Network) -> list[str]:
    """What a running daemon cannot change, since its sockets were opened at the start."""
    rows = (
        ("osc: listen", f"{before.osc.host}:{before.osc.port}", f"{after.osc.host}:{after.osc.port}"),
        ("sacn: interface", before.sacn.interface, after.sacn.interface),
        ("sacn: to", before.sacn.destinations, after.sacn.destinations),
        ("record", before.record, after.record),
    )
    return [
        f"network.yaml: `{key}` was {was} and is {now} now: only a restart changes that, or set it back"
        for key, was, now in rows
        if was != now
    ]
