"""The bridge as the demo and the tests run it: a copy of a show, the real process beside us, OSC to talk to it."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
from pathlib import Path

from bridge.errors import NetworkError
from bridge.venue.talk import Talk
from bridge.wire.settings import OscSettings

DEMO_SHOW = Path(__file__).resolve().parent.parent / "demo_show"
NETWORK = """version: 1
osc: {{listen: "127.0.0.1:{osc}", allow: ["127.0.0.0/8"]}}
sacn: {{interface: 127.0.0.1, to: multicast, priority: 110, source_name: {name}, rate: 44}}
panel: {{listen: "127.0.0.1:{panel}"}}
lost_input: {{after: 2.0, then: hold, fade: 3.0}}
"""


def copy_show(source: Path, target: Path, first_universe: int = 1) -> None:
    """Copy a show's folder, on loopback ports that are free now, its universes counted from another first one."""
    shutil.copytree(source, target)
    for leftover in ("poses.yaml", "sightings.yaml"):
        (target / leftover).unlink(missing_ok=True)
    network = NETWORK.format(osc=_free(socket.SOCK_DGRAM), panel=_free(socket.SOCK_STREAM), name=source_name())
    (target / "network.yaml").write_text(network, encoding="utf-8")
    rig = target / "rig.yaml"

    def moved(found: re.Match[str]) -> str:
        return f"{found[1]}{int(found[2]) + first_universe - 1}"

    rig.write_text(re.sub(r"(\buniverse:\s*)(\d+)", moved, rig.read_text(encoding="utf-8")), encoding="utf-8")


def source_name() -> str:
    """What our bridge calls itself in sACN: no other demo on this machine is taken for it."""
    return f"Tetherlight demo {os.getpid()}"


def free_port(wished: int) -> int:
    """A TCP port on loopback: the one that is wished for, or any free one where somebody has that."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", wished))
        except OSError:
            return _free(socket.SOCK_STREAM)
    return wished


def _free(kind: int) -> int:
    with socket.socket(socket.AF_INET, kind) as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def _end_with_parent() -> None:
    """Between fork and exec: SIGTERM for the bridge when its demo is killed, so that no bridge is left behind."""
    if sys.platform == "linux":
        import ctypes

        ctypes.CDLL(None).prctl(1, signal.SIGTERM)  # PR_SET_PDEATHSIG


class ChildProcess:
    """`tetherlight WORDS` as a process of its own; its log goes to a file. It ends with us."""

    def __init__(self, words: list[str], log: Path) -> None:
        self._log = log
        with self._log.open("wb") as out:
            # A session of its own: Ctrl-C in the terminal is ours to hand on, after the heads are dark.
            self._process = subprocess.Popen(
                [sys.executable, "-m", "bridge", *words],
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=out,
                start_new_session=True,
                preexec_fn=_end_with_parent,
            )

    def last_words(self, lines: int = 12) -> str:
        """The end of its log."""
        try:
            return "\n".join(self._log.read_text(encoding="utf-8", errors="replace").splitlines()[-lines:])
        except OSError:
            return "(no log)"

    def signal_stop(self) -> None:
        """Ask it to end."""
        if self._process.poll() is None:
            self._process.terminate()

    @property
    def ended(self) -> bool:
        """Whether it has."""
        return self._process.poll() is not None

    @property
    def exit_code(self) -> int | None:
        """Its exit code, None while it runs."""
        return self._process.poll()

    def close(self) -> None:
        """End it for good; safe to call twice."""
        self.signal_stop()
        try:
            self._process.wait(5.0)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait(5.0)


class BridgeProcess(ChildProcess):
    """`tetherlight run SHOW --no-panel --armed`, and a way to talk to it."""

    def __init__(self, show: Path, osc_port: int) -> None:
        self._talk = Talk(OscSettings(port=osc_port))
        self.say = self._talk.say
        super().__init__(["run", str(show), "--no-panel", "--armed", *_state(show)], show.parent / "bridge.log")

    def check(self) -> None:
        """Raises NetworkError with the bridge's last words when it has ended."""
        if self._process.poll() is not None:
            raise NetworkError(f"the bridge has ended with exit code {self._process.returncode}:\n{self.last_words()}")

    def close(self) -> None:
        """End it for good; safe to call twice."""
        super().close()
        self._talk.close()


class PanelProcess(ChildProcess):
    """`tetherlight panel SHOW` that knows the page of the simulated venue, for practice."""

    def __init__(self, show: Path, listen: str, venue: str) -> None:
        self.address = f"http://{listen}/"
        words = ["panel", str(show), "--listen", listen, "--venue", venue, *_state(show)]
        super().__init__(words, show.parent / "panel.log")


def _state(show: Path) -> list[str]:
    return ["--state", str(show.parent / "state")]
