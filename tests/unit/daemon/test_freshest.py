"""What outlives a kill: the last whole set of numbers, for whoever means the same by them."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from bridge.daemon.freshest import Freshest

ROOT = Path(__file__).resolve().parents[3]
ENDLESS = """
import sys, numpy as np
from pathlib import Path
from bridge.daemon.freshest import Freshest
kept = Freshest(Path(sys.argv[1]), "a rig", 500)
for number in range(1, 10_000_000):
    kept.put(np.full(500, float(number)))
    if number == 2000:
        print("going", flush=True)
"""


def test_what_was_put_last_is_found_by_the_next_one_and_nothing_at_first(tmp_path: Path) -> None:
    kept = Freshest(tmp_path / "f", "a rig", 3)
    assert kept.read() is None
    for number in range(5):
        kept.put(np.array([number, 2.0, -1e9]))
    kept.close()
    again = Freshest(tmp_path / "f", "a rig", 3)
    assert again.read().tolist() == [4.0, 2.0, -1e9]
    again.put(np.array([9.0, 9.0, 9.0]))
    again.close()
    assert Freshest(tmp_path / "f", "a rig", 3).read().tolist() == [9.0, 9.0, 9.0]


@pytest.mark.parametrize(("meaning", "count"), [("another rig", 3), ("a rig", 4)])
def test_another_rig_finds_nothing(tmp_path: Path, meaning: str, count: int) -> None:
    kept = Freshest(tmp_path / "f", "a rig", 3)
    kept.put(np.ones(3))
    kept.close()
    assert Freshest(tmp_path / "f", meaning, count).read() is None


@pytest.mark.parametrize("at", [0, 20, 30, 50, 80])
def test_a_damaged_file_gives_the_other_place_or_nothing(tmp_path: Path, at: int) -> None:
    kept = Freshest(tmp_path / "f", "a rig", 3)
    kept.put(np.full(3, 1.0))
    kept.put(np.full(3, 2.0))
    kept.close()
    octets = bytearray((tmp_path / "f").read_bytes())
    octets[at : at + 8] = b"\xff" * 8  # a number that is none, or a turn that does not agree
    (tmp_path / "f").write_bytes(octets)
    found = Freshest(tmp_path / "f", "a rig", 3).read()
    assert found is None or found.tolist() in ([1.0] * 3, [2.0] * 3)


def test_a_kill_in_the_middle_of_it_leaves_one_whole_set(tmp_path: Path) -> None:
    for _ in range(5):
        process = subprocess.Popen(
            [sys.executable, "-c", ENDLESS, str(tmp_path / "f")], cwd=ROOT, stdout=subprocess.PIPE, text=True
        )
        assert process.stdout is not None
        assert process.stdout.readline() == "going\n"
        os.kill(process.pid, signal.SIGKILL)
        process.wait()
        process.stdout.close()
        found = Freshest(tmp_path / "f", "a rig", 500).read()
        assert found is not None
        assert found[0] >= 1999.0
        assert (found == found[0]).all()
        (tmp_path / "f").unlink()


def test_where_it_cannot_be_opened_there_is_an_error_to_say(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="No such file"):
        Freshest(tmp_path / "gone" / "f", "a rig", 3)
