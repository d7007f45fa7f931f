"""Interfaces by their names in network.yaml: `lo` works, and a name that is not there is told with those that are."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tests.system.daemon_process import ROOT, Daemon, stage
from tests.system.wire_checks import armed_and_lit, assert_whole


def by_name(daemon: Daemon, listen: str = "lo", interface: str = "lo") -> None:
    daemon.edit("network.yaml", "127.0.0.1:", f"{listen}:")
    daemon.edit("network.yaml", "interface: 127.0.0.1", f"interface: {interface}")


def check(show: Path) -> list[dict[str, str]]:
    command = [sys.executable, "-m", "bridge", "check", str(show), "--json"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=60)
    assert "Traceback" not in done.stderr
    return list(json.loads(done.stdout)["findings"])


def test_the_loopback_by_name_runs_and_is_warned_of(tmp_path: Path) -> None:
    with stage(tmp_path, 30150, 30151) as (daemon, node):
        by_name(daemon)
        rows = check(daemon.show)
        assert any("STAYS ON THIS MACHINE" in row["what"] for row in rows)
        assert not any(row["level"] == "error" for row in rows)
        assert not any("cannot be opened" in row["what"] for row in rows)
        armed_and_lit(daemon, node)
        assert "THIS MACHINE ONLY" in daemon.log
        daemon.event("/feed/bridge")
        daemon.edit("stage.yaml", "[6, 8], [-6, 8]]", "[6, 9], [-6, 9]]")
        daemon.say("/reload")
        assert daemon.event("/feed/reload")[0] == "done", "a name is no other address than the one it stands for"
        assert_whole(node, 30150)
        assert daemon.end() == 0


@pytest.mark.parametrize(("key", "names"), [("osc: listen", ("nosuch0", "lo")), ("sacn: interface", ("lo", "nosuch0"))])
def test_an_unknown_name_is_told_with_its_key_and_with_those_there_are(
    tmp_path: Path, key: str, names: tuple[str, str]
) -> None:
    with stage(tmp_path, 30152, 30153) as (daemon, node):
        by_name(daemon, *names)
        daemon.start("--armed")
        assert daemon.process is not None
        assert daemon.process.wait(15) == 3
        for words in (f"network.yaml: {key}: found 'nosuch0'", "127.0.0.1 (lo)"):
            assert words in daemon.log
        assert "Traceback" not in daemon.log
        assert node.hear(0.2) == []
        (error,) = [row for row in check(daemon.show) if row["level"] == "error"]
        assert error["where"] == "network.yaml"
        assert f"{key}: found 'nosuch0'" in error["what"]
