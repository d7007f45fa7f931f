"""A show with tracking inputs on groups and ports of this worker's own, and somebody who sends to them."""

from __future__ import annotations

import socket
import threading
from pathlib import Path
from shutil import copytree

from bridge.daemon import clock
from bridge.wire import adm, otp, otp_send, psn
from tests.workers import WORKER

TOUR = Path(__file__).parents[1] / "configs" / "harbour-hall-tour"
SYSTEM = 1 + WORKER % 200
GROUP = (f"236.10.11.{1 + WORKER % 200}", 56565)
CID = bytes(range(16))


def a_free_port() -> int:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def network_text(port: int) -> str:
    """The inputs in network.yaml: `tags`, `stage`, and `sound` at this port."""
    return (
        f"inputs:\n  tags: {{protocol: otp, interface: 127.0.0.1, system: {SYSTEM}}}\n"
        f'  stage: {{protocol: psn, interface: 127.0.0.1, to: "{GROUP[0]}:{GROUP[1]}"}}\n'
        f'  sound: {{protocol: adm-osc, listen: "127.0.0.1:{port}"}}\n'
    )


def show_with_inputs(folder: Path, port: int = 4001, framed: bool = True) -> Path:
    """The tour: `tags` (otp, point 1/7 steers lead, with a frame), `stage` (psn), `sound` (adm-osc)."""
    copytree(TOUR, folder)
    network, stage = folder / "network.yaml", folder / "stage.yaml"
    network.write_text(network.read_text() + network_text(port))
    stage.write_text(stage.read_text().replace("source: osc}", "source: {input: tags, point: 1/7}}"))
    if framed:
        (folder / "frames.yaml").write_text("version: 1\nframes: {tags: {turn: 90, origin: [1, 2, 0]}}\n")
    return folder


class Sender:
    """Sends point 1/7 (at `place`), tracker 3 and object 9 at 50 Hz, until the block is left."""

    def __init__(self, port: int = 4001) -> None:
        self.place = (3.0, 1.0, 1.5)
        self._port, self._stop = port, threading.Event()
        self._thread = threading.Thread(target=self._run)

    def __enter__(self) -> Sender:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join()

    def _run(self) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sends:
            sends.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
            folio = 0
            while not self._stop.wait(0.02):
                folio, stamp = folio + 1, round(clock.now_s() * 1e6)
                x, y, z = self.place
                point = otp_send.Sent(1, 7, (x, y + folio / 1e6, z))
                for page in otp_send.transform(CID, "venue", SYSTEM, folio, stamp, [point]):
                    sends.sendto(page, (otp.transform_group(SYSTEM), otp.PORT))
                for page in psn.data([psn.Tracker(3, (2.0, 4.0, 1.0))], stamp, folio % 256):
                    sends.sendto(page, GROUP)
                for page in psn.info("stage", {3: "Anna"}, stamp, folio % 256):
                    sends.sendto(page, GROUP)
                sends.sendto(adm.position(9, 0.5, -0.5), ("127.0.0.1", self._port))
