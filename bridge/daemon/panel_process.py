"""The panel, as a process of its own beside the daemon: started, watched, started again; the show never waits for it.

It is started from a thread and by exec alone (no code of ours runs between), so that no frame is late for it. Its
standard input is a pipe that we hold: it reads the end of it when we die, however we die, and ends (`--until-eof`).
"""

from __future__ import annotations

import contextlib
import math
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

from bridge.daemon.logs import LOG, STANDARD_ERROR
from bridge.show.solve_by_exec import environment
from bridge.wire.settings import PanelSettings

PAUSES_S = (0.5, 10.0)
"""Before it is started again after it died: at first, and at most; twice as long each time."""
STEADY_S = 10.0
"""What has lived so long was well; the next pause is the first again."""
PORT_TAKEN = 3
GRACE_S = 2.0
"""From SIGTERM to SIGKILL."""

Process = subprocess.Popen[bytes]
MakeCommand = Callable[[PanelSettings], list[str]]


def command(
    show: Path, bridge: tuple[str, int], listen: tuple[str, int], state: Path, record: Path | None = None
) -> list[str]:
    """The words that start a panel for this show; the daemon is heard at `bridge` and keeps captures in `record`."""
    words = [sys.executable, "-m", "bridge", "panel", str(show), "--bridge", _endpoint(*bridge)]
    words += [] if record is None else ["--record", str(record)]
    return [*words, "--listen", _endpoint(*listen), "--state", str(state), "--until-eof"]


def _endpoint(host: str, port: int) -> str:
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


def open_process(words: list[str]) -> Process:
    """Start it in a session of its own: what a terminal sends (Ctrl-C, its end) is ours to hand on."""
    try:
        os.fstat(STANDARD_ERROR)
        out: int = STANDARD_ERROR
    except OSError:
        out = subprocess.DEVNULL
    process = subprocess.Popen(
        words, stdin=subprocess.PIPE, stdout=out, stderr=out, start_new_session=True, env=environment()
    )
    with contextlib.suppress(OSError):  # it must not have our priority
        os.setpriority(os.PRIO_PROCESS, process.pid, max(0, os.nice(0)))
    return process


class PanelProcess:
    """At most one panel. All but `close` is called in the loop and never waits.

    `make` gives the words for where it is to listen; it may raise an error that says why there are none.
    """

    def __init__(self, make: MakeCommand) -> None:
        self._make = make
        self._wanted: PanelSettings | None = None
        self._with: PanelSettings | None = None
        self._process: Process | None = None
        self._starter: threading.Thread | None = None
        self._outcome: Process | str = ""
        self._next_s, self._pause_s = -math.inf, PAUSES_S[0]
        self._started_s, self._kill_s = -math.inf, math.inf
        self._said = ""

    def want(self, settings: PanelSettings | None) -> None:
        """Have a panel there from now on, or none."""
        if settings != self._wanted:
            self._wanted, self._next_s, self._pause_s, self._said = settings, -math.inf, PAUSES_S[0], ""

    def look(self, now_s: float) -> None:
        """A few times a second: start it, see whether it lives, end what nobody wants any more."""
        if self._starter is not None:
            if self._starter.is_alive():
                return
            self._take_outcome(now_s)
        if self._process is None:
            if self._wanted is not None and now_s >= self._next_s:
                self._start(self._wanted)
        elif (code := self._process.poll()) is not None:
            self._ended(code, now_s)
        elif self._with != self._wanted:
            self._ask_to_end(now_s)
        elif self._said and now_s - self._started_s >= STEADY_S:
            LOG.info("the panel runs again")
            self._said = ""

    def end(self) -> None:
        """Ask it to end."""
        self.want(None)
        if self._process is not None:
            self._signal(self._process, signal.SIGTERM)

    def close(self) -> None:
        """End it for good, and wait for that, GRACE_S at most."""
        self.end()
        if self._starter is not None:
            self._starter.join(GRACE_S)
            self._take_outcome(0.0)
        if self._process is None:
            return
        self._signal(self._process, signal.SIGTERM)
        try:
            self._process.wait(GRACE_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(GRACE_S)
        self._let_go(self._process)

    # Beginning

    def _start(self, settings: PanelSettings) -> None:
        self._with = settings
        self._starter = threading.Thread(target=self._open, args=(settings,), name="panel", daemon=True)
        self._starter.start()

    def _open(self, settings: PanelSettings) -> None:
        try:
            self._outcome = open_process(self._make(settings))
        except Exception as error:  # no such interface, no memory, no descriptors: said, and tried again
            self._outcome = str(error) or repr(error)

    def _take_outcome(self, now_s: float) -> None:
        outcome, self._starter, self._outcome = self._outcome, None, ""
        if isinstance(outcome, str):
            self._again(f"could not be started: {outcome}", now_s)
        else:
            self._process, self._started_s = outcome, now_s

    # Ending

    def _ended(self, code: int, now_s: float) -> None:
        assert self._process is not None
        self._let_go(self._process)
        if self._with != self._wanted:
            return  # at our word
        if code == PORT_TAKEN:
            self._next_s = now_s + PAUSES_S[1]
            self._say_once(f"THERE IS NO PANEL, its port is taken (exit code {code}): tried every {PAUSES_S[1]:g} s")
            return
        if now_s - self._started_s >= STEADY_S:
            self._pause_s = PAUSES_S[0]
        self._again(f"was killed by signal {-code}" if code < 0 else f"has ended with exit code {code}", now_s)

    def _again(self, why: str, now_s: float) -> None:
        LOG.error("the panel %s; the show goes on, and it is started again in %g s", why, self._pause_s)
        self._said = why
        self._next_s, self._pause_s = now_s + self._pause_s, min(2.0 * self._pause_s, PAUSES_S[1])

    def _say_once(self, text: str) -> None:
        if self._said != text:
            LOG.error("%s; the show goes on", text)
            self._said = text

    def _ask_to_end(self, now_s: float) -> None:
        assert self._process is not None
        if self._kill_s == math.inf:
            self._kill_s = now_s + GRACE_S
            self._signal(self._process, signal.SIGTERM)
        elif now_s >= self._kill_s:
            self._signal(self._process, signal.SIGKILL)

    @staticmethod
    def _signal(process: Process, number: signal.Signals) -> None:
        with contextlib.suppress(OSError):
            process.send_signal(number)  # asks first whether it has ended: its number may be another's by now

    def _let_go(self, process: Process) -> None:
        if process.stdin is not None:
            with contextlib.suppress(OSError):
                process.stdin.close()
        self._process, self._kill_s = None, math.inf
