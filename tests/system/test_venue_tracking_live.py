"""The whole way of a tracked performer: tags of the venue, the real daemon, real packets, beams on the performer."""

from __future__ import annotations

import csv
import json
import statistics
import subprocess
import sys
from pathlib import Path

import pytest

from tests.system.daemon_process import free_port

INPUTS = {
    "otp": "tags: {protocol: otp, interface: 127.0.0.1, system: 61}",
    "psn": 'tags: {protocol: psn, interface: 127.0.0.1, to: "236.10.10.10:30561"}',
    "adm-osc": 'tags: {protocol: adm-osc, listen: "127.0.0.1:30562"}',
}
FRAMES = {
    "otp": "{axes: [x, y, z], turn: 37, origin: [2, -1, 0.2], scale: 1}",
    "psn": "{axes: [x, z, y], turn: -120, origin: [0, 3, 0], scale: 1}",  # y up: mirrored, as many of them are
    "adm-osc": "{axes: [x, y, z], turn: 0, origin: [0, 4, 0], scale: 12}",
}
PLACES = ((-5.0, -8.0, 9.0), (5.0, -8.0, 9.0))


def show(folder: Path, protocol: str) -> Path:
    folder.mkdir()
    fixtures, poses = [], []
    for number, place in enumerate(PLACES):
        patch = f"profile: spot-16bit, universe: 30560, address: {1 + 30 * number}"
        fixtures.append(f"  - {{name: h{number}, {patch}, at: {list(place)}}}")
        poses.append(f"  h{number}: {{position: {list(place)}, rotation: [0, 0, 0, 1]}}")
    (folder / "rig.yaml").write_text("version: 1\nname: tracked\nfixtures:\n" + "\n".join(fixtures) + "\n")
    (folder / "poses.yaml").write_text("version: 1\nfixtures:\n" + "\n".join(poses) + "\n")
    point = "1/4" if protocol == "otp" else "4"
    (folder / "stage.yaml").write_text(
        "version: 1\nperformance_polygon: {corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]]}\n"
        f"targets: {{lead: {{source: {{input: tags, point: {point}}}}}}}\n"
    )
    (folder / "network.yaml").write_text(
        f'version: 1\nosc: {{listen: "127.0.0.1:{free_port()}"}}\npanel: off\n'
        f"sacn: {{interface: 127.0.0.1, to: multicast}}\ninputs: {{{INPUTS[protocol]}}}\n"
    )
    (folder / "frames.yaml").write_text(f"version: 1\nframes: {{tags: {FRAMES[protocol]}}}\n")
    return folder


@pytest.mark.parametrize("protocol", list(INPUTS))
def test_beams_are_on_a_performer_with_a_tag(tmp_path: Path, protocol: str) -> None:
    folder = show(tmp_path / "show", protocol)
    run = [sys.executable, "-m", "bridge", "run", str(folder), "--armed", "--state", str(tmp_path / "state")]
    with (tmp_path / "log").open("w") as log:
        daemon = subprocess.Popen(run, stdout=log, stderr=log)
        try:
            words = ("--no-view", "--seconds", "14", "--json", "--performer-port", str(free_port()))
            words += ("--walk", "stroll", "--measure", str(tmp_path / "beams.csv"))
            words += ("--tracking", f"{protocol},noise=0.01,delay=0.02,loss=0.05")
            venue = [sys.executable, "-m", "bridge", "venue", str(folder), *words]
            done = subprocess.run(venue, capture_output=True, text=True, timeout=60, check=False)
        finally:
            daemon.terminate()
            daemon.wait(10)
    assert done.returncode == 0, done.stderr + (tmp_path / "log").read_text()
    assert json.loads(done.stdout)["tracking"][0]["packets"] > 300
    rows = csv.DictReader((tmp_path / "beams.csv").open(encoding="utf-8"))
    errors = [float(row["error_m"]) for row in rows if row["level"] and float(row["level"]) > 0.9 and row["error_m"]]
    assert len(errors) > 2 * 5 * 25, "two heads, 25 looks a second: " + (tmp_path / "log").read_text()
    # Half of all looks: other work on the machine makes frames late, and a stroll goes 1.4 m/s. In other axes, or on
    # another point, beams are metres off. How well heads are led is measured by tools/bench/moving.py.
    assert statistics.median(errors) < 0.25
