"""A show with everything in it is recorded by the real daemon, and replays byte for byte; a capture that is not whole
or not ours is said to be so."""

from __future__ import annotations

import itertools
import json
import math
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from bridge.wire import e131
from tests.system.daemon_process import ROOT, Client, Daemon, Node, stage
from tests.system.other_source import other_source
from tests.system.test_run_focus import HEADS, MARKS, angles
from tests.system.wire_checks import armed_and_lit, assert_whole, follow, lit

FIRST, SECOND = 30140, 30141


def replay(*words: str | Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "bridge", "replay", *map(str, words)]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=120)


def sighted(show: Path) -> None:
    """Five marks and a sighting of each by both heads, which hang turned: a solve has something to say."""
    marks = ", ".join(f"{name}: [{x}, {y}, {z}]" for name, (x, y, z) in MARKS.items())
    text = (show / "stage.yaml").read_text().splitlines()
    (show / "stage.yaml").write_text("\n".join([*text[:-1], f"marks: {{{marks}}}", ""]))
    rows = [
        f"  - {{fixture: {head}, mark: {mark}, pan: {math.floor(pan * 1e4) / 1e4}, tilt: {round(tilt, 4)}}}"
        for head in HEADS
        for mark in MARKS
        for pan, tilt in [angles(head, mark)]
    ]
    (show / "sightings.yaml").write_text("\n".join(["version: 1", "sightings:", *rows, ""]))


def walk(daemon: Daemon, node: Node, seconds: float, seed: int = 1) -> None:
    """A performer, and junk between."""
    rng = random.Random(seed)
    for step in range(int(seconds * 30)):
        daemon.say("/target/lead/position", 3 * math.sin(step / 30), 4 + 2 * math.cos(step / 40))
        if step % 5 == 0:
            daemon.throw(rng.randbytes(rng.randrange(200)))
            daemon.say("/target/lead/position", float("nan"), 1.0)
        node.hear(1 / 30)


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, list[Path], Daemon]]:
    """Show folder and captures of a show with everything in it, a kill and a restart among it."""
    folder = tmp_path_factory.mktemp("recorded")
    with stage(folder, FIRST, SECOND) as (daemon, node):
        daemon.edit("network.yaml", '["127.0.0.1/32"]', '["127.0.0.0/8"]')
        sighted(daemon.show)
        other = Client(daemon.port, "127.0.0.2")
        captures = ("--record", str(folder / "captures"))
        armed_and_lit(daemon, node, *captures)
        walk(daemon, node, 1.0)
        other.say("/target/lead/position", 0.0, 1.0)  # the target is another's
        other.say("/target/lead/take")
        other.say("/target/lead/position", 0.0, 1.0)
        walk(daemon, node, 0.5)
        daemon.say("/target/lead/take")
        daemon.event("/feed/bridge")
        daemon.say("/sight/solve")
        daemon.say("/reload")  # during the solve
        daemon.event("/feed/reload")
        ended = daemon.event("/feed/solve", lambda args: args[0] not in ("started", "note"), within_s=90.0)
        assert ended[0] == "done", daemon.log
        walk(daemon, node, 1.0)
        daemon.edit("stage.yaml", "[6, 8], [-6, 8]]", "[6, 9], [-6, 9]]")
        daemon.edit("network.yaml", "priority: 120", "priority: 110")
        daemon.say("/reload")
        daemon.event("/feed/reload")
        with other_source(SECOND, priority=150):
            daemon.event("/feed/universe", lambda args: args[1] == "overruled")
            walk(daemon, node, 0.5)
        daemon.event("/feed/universe", lambda args: args[0] == SECOND and args[1] == "sent")
        daemon.say("/arm", 0)
        node.until(lambda packet: packet.terminated and packet.source_name == "System test")
        node.hear(0.3)
        daemon.say("/arm", 1)
        walk(daemon, node, 2.5)
        node.until(lambda packet: packet.universe == FIRST and lit(packet))
        node.hear(1.5)  # until what the recorder holds is in the file
        daemon.end(signal.SIGKILL)
        daemon.start("--armed", *captures)
        node.until(lambda packet: packet.source_name == "System test")
        walk(daemon, node, 1.0)
        daemon.say("/fixture/a/trim", 0.2, 0.2)
        daemon.say("/still", 1)
        other.say("/still", 0)
        daemon.say("/still", 0)
        walk(daemon, node, 0.5)
        assert daemon.end() == 0
        assert "fault of this program" not in daemon.log
        other.close()
        yield daemon.show, sorted((folder / "captures").glob("*.pcapng")), daemon


Recorded = tuple[Path, list[Path], Daemon]


def test_the_whole_show_replays_byte_for_byte(recorded: Recorded) -> None:
    show, files, _ = recorded
    assert len(files) == 2, "one of each start"
    done = replay(*files, "--show", show)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "THE SAME" in done.stdout
    assert "NOT" not in done.stdout
    document = json.loads(replay(*reversed(files), "--show", show, "--json").stdout)
    assert document["equal"] is True
    assert (document["different"], document["lost"], document["parts"]) == (0, 0, 2)
    assert document["packets"] == document["same"] > 300
    assert document["show_changed"] is False
    assert document["messages"] > 200


def test_a_changed_show_is_said_and_what_differs_is_told(recorded: Recorded, tmp_path: Path) -> None:
    show, files, daemon = recorded
    assert daemon.log.count("OVERRULED") == 1
    assert daemon.log.count("ours again") == 1
    changed = tmp_path / "show"
    changed.mkdir()
    for file in show.glob("*.yaml"):
        (changed / file.name).write_text(file.read_text())
    rig = (changed / "rig.yaml").read_text()
    (changed / "rig.yaml").write_text(rig.replace("name: a,", "name: a, limits: {tilt: [-20, 20]},"))
    done = replay(files[-1], "--show", changed)
    assert done.returncode == 0
    assert "is not what it was" in done.stdout
    done = replay(files[-1], "--show", changed, "--changed")
    assert done.returncode == 1
    assert "NOT THE SAME" in done.stdout
    assert f"universe {FIRST}: address" in done.stdout


@pytest.mark.parametrize("inbound", [False, True])
def test_one_octet_that_differs_is_found_and_where(recorded: Recorded, tmp_path: Path, inbound: bool) -> None:
    """Of a packet that was sent: named by universe and address. Of a message: the packets after it differ."""
    show, files, _ = recorded
    octets = bytearray(files[-1].read_bytes())
    at = message_y(octets) if inbound else data_slot(octets, 5)
    octets[at] ^= 0x40
    spoiled = tmp_path / "spoiled.pcapng"
    spoiled.write_bytes(octets)
    done = replay(spoiled, "--show", show)
    assert done.returncode == 1, done.stdout + done.stderr
    assert "NOT THE SAME" in done.stdout
    assert "universe" in done.stdout
    if not inbound:
        assert "address 5" in done.stdout
        assert "1 differ" in done.stdout


def message_y(octets: bytearray) -> int:
    """Where y is, its second octet, in a message in the middle of a capture that was obeyed."""
    message = b"/target/lead/position\0\0\0,ff\0"
    at = octets.index(message, len(octets) // 2)
    while octets[at + 28 : at + 30] == b"\x7f\xc0":  # x is no number
        at = octets.index(message, at + 1)
    return at + 33


def data_slot(octets: bytearray, address: int) -> int:
    """Where the value of an address is, in a data packet of FIRST in the middle of a capture."""
    root = octets.index(b"ASC-E1.17\0\0\0", len(octets) // 2) - 4
    while octets[root + 113] << 8 | octets[root + 114] != FIRST or octets[root + 18 : root + 22] != b"\0\0\0\4":
        root = octets.index(b"ASC-E1.17\0\0\0", root + 10) - 4
    return root + 125 + address


def test_a_capture_that_ends_in_the_middle_is_the_same_as_far_as_it_goes(recorded: Recorded, tmp_path: Path) -> None:
    show, files, _ = recorded
    octets = files[-1].read_bytes()
    cut = tmp_path / "cut.pcapng"
    cut.write_bytes(octets[: len(octets) * 2 // 3 + 1])
    done = replay(cut, "--show", show)
    assert done.returncode == 0, done.stdout + done.stderr
    assert "THE SAME" in done.stdout
    assert "its writer was stopped there" in done.stdout


def test_what_is_no_capture_of_ours_is_refused_with_words(recorded: Recorded, tmp_path: Path) -> None:
    show, files, _ = recorded
    foreign, empty, text = (tmp_path / name for name in ("foreign.pcapng", "empty.pcapng", "notes.txt"))
    filtered = ["tshark", "-r", str(files[0]), "-Y", "udp", "-w", str(foreign), "-F", "pcapng"]
    subprocess.run(filtered, check=True, capture_output=True)
    empty.write_bytes(b"")
    text.write_text("version: 1\n")
    for file in (foreign, empty, text, tmp_path / "absent", tmp_path):
        for more in ([], ["--live"]):
            done = replay(file, "--show", show, *more)
            assert done.returncode == 2, f"{file.name} {more}: {done.stdout}{done.stderr}"
            assert str(file) in done.stderr
            assert "Traceback" not in done.stderr
    done = replay(text, "--show", show, "--json")
    assert json.loads(done.stdout)["errors"]


def test_a_packet_analyser_reads_every_capture(recorded: Recorded) -> None:
    """tshark 4 (Wireshark), Debian: another implementation of pcapng and of E1.31."""
    _, files, _ = recorded
    for file in files:
        fields = [word for name in ("frame.time_epoch", "acn.dmx.source_name") for word in ("-e", name)]
        command = ["tshark", "--enable-heuristic", "acn", "-o", "acn.dmx_enable:TRUE", "-r", str(file)]
        command += ["-Y", f"acn.dmx.universe == {FIRST}", "-T", "fields", *fields]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60)
        assert done.returncode == 0, done.stderr
        rows = [line.split("\t") for line in done.stdout.splitlines()]
        assert len(rows) == len(sent_of(file, FIRST))
        assert {row[1] for row in rows} == {"System test"}
        assert abs(float(rows[-1][0]) - time.time()) < 900, "times are UTC"


def test_live_it_is_sent_again_in_time_and_ended(recorded: Recorded) -> None:
    _, files, _ = recorded
    times = [entry.at_us / 1e6 for entry in sent_of(files[-1], FIRST)]
    node = Node(FIRST, SECOND)
    process = start_live(files[-1])
    node.until(lambda packet: packet.universe == FIRST and packet.terminated)
    assert process.wait(20) == 0
    node.hear(0.2)
    heard = [at_s for at_s, packet in node.packets if packet.universe == FIRST]
    late = [(h - heard[0]) - (t - times[0]) for h, t in zip(heard, times, strict=False)]
    assert sorted(abs(s) for s in late)[len(late) // 2] < 0.005, "half of all within 5 ms"
    assert [packet.terminated for packet in node.of(FIRST)[-3:]] == [True] * 3
    steps = {(b.sequence - a.sequence) % 256 for a, b in itertools.pairwise(node.of(FIRST))}
    assert steps == {1}
    node.close()


def test_live_ctrl_c_ends_it_and_tells_the_receivers(recorded: Recorded) -> None:
    _, files, _ = recorded
    node = Node(FIRST, SECOND)
    process = start_live(files[0])
    node.until(lambda packet: packet.universe == SECOND)
    process.send_signal(signal.SIGINT)
    assert process.wait(10) == 0
    node.hear(0.2)
    for universe in (FIRST, SECOND):
        assert [packet.terminated for packet in node.of(universe)[-3:]] == [True] * 3
    assert len(node.of(FIRST)) < 200
    assert not [page for page in node.discoveries if set(page.universes) != {FIRST, SECOND}]
    node.close()


def sent_of(file: Path, universe: int) -> list:  # type: ignore[type-arg]
    from bridge.daemon.sending_again import sent

    packets = [(entry, e131.parse(entry.payload)) for entry in sent([file])]
    return [entry for entry, p in packets if isinstance(p, e131.Data) and p.universe == universe]


def start_live(file: Path) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, "-m", "bridge", "replay", str(file), "--live"], cwd=ROOT)


def test_live_with_synchronisation_ends_without_an_error(tmp_path: Path) -> None:
    with stage(tmp_path, 30142, 30143) as (daemon, node):
        daemon.edit("network.yaml", "priority: 120", "priority: 120, synchronise: 30142")
        daemon.start("--armed", "--record", str(tmp_path / "captures"))
        node.until(lambda packet: True)
        node.hear(0.5)
        assert daemon.end() == 0
        (file,) = (tmp_path / "captures").glob("*.pcapng")
        assert replay(file).returncode == 0
        done = replay(file, "--live")
        assert done.returncode == 0, done.stderr


def test_captures_stay_within_their_bounds_and_cost_no_frame(tmp_path: Path) -> None:
    with stage(tmp_path, 30144, 30145) as (daemon, node):
        with (daemon.show / "network.yaml").open("a") as file:
            file.write("record: {folder: captures, days: 1, megabytes: 10}\n")
        armed_and_lit(daemon, node)
        end_s = time.monotonic() + 12.0
        sizes = []
        junk = b"/target/lead/position\0\0\0,xff\0\0\0\0" + bytes(1400)
        step = 0
        while time.monotonic() < end_s:
            step += 1
            for _ in range(30):
                daemon.throw(junk)
            daemon.say("/target/lead/position", 1 + math.sin(step / 50), 4.0)
            node.hear(0.02)
            sizes.append(sum(file.stat().st_size for file in (daemon.show / "captures").glob("*.pcapng")))
        assert max(sizes) <= 10e6
        assert "megabytes" in daemon.log, "what could not be kept is said"
        for universe in node.universes:
            assert_whole(node, universe)
        longest_s = max(b - a for a, b in itertools.pairwise(node.times(30144)[20:]))
        assert longest_s < 0.5, "frames go on"
        assert daemon.end() == 0
        files = list((daemon.show / "captures").glob("*.pcapng"))
        done = replay(*files, "--show", daemon.show)
        assert done.returncode == 0, done.stdout + done.stderr


def test_where_no_capture_can_be_written_the_show_goes_on_and_it_is_said_once(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the place of a folder")
    for number, folder in enumerate((tmp_path / "file", Path("/proc/nowhere"))):
        (tmp_path / str(number)).mkdir()
        with stage(tmp_path / str(number), 30146, 30147) as (daemon, node):
            armed_and_lit(daemon, node, "--record", str(folder))
            node.hear(6.5)  # it is tried again every 5 s
            follow(daemon, node, -1.0)
            assert_whole(node, 30146)
            assert daemon.log.count("cannot write captures") == 1
            assert daemon.end() == 0
            assert "Traceback" not in daemon.log


def test_a_disk_that_is_full_costs_captures_only_and_is_said_once(tmp_path: Path) -> None:
    """A file that may not grow (ulimit -f, KiB) fails as a disk that is full does: in the middle of a write."""
    folder = tmp_path / "captures"
    with stage(tmp_path, 30154, 30155) as (daemon, node):
        limited = ["bash", "-c", 'ulimit -f 60; exec "$@"', "--", *daemon.command("--armed", "--record", str(folder))]
        with daemon.log_file.open("ab") as log:
            daemon.process = subprocess.Popen(limited, cwd=ROOT, stderr=log, stdout=log)
        node.until(lambda packet: True)
        follow(daemon, node)
        walk(daemon, node, 8.0)
        for universe in node.universes:
            assert_whole(node, universe)
        assert daemon.log.count("cannot write captures") == 1
        assert daemon.end() == 0
        files = list(folder.glob("*.pcapng"))
        assert len(files) > 1, "it is tried again"
        assert replay(*files, "--show", daemon.show).returncode == 0


def test_captures_that_are_removed_while_they_are_written_begin_anew(tmp_path: Path) -> None:
    folder = tmp_path / "captures"
    with stage(tmp_path, 30148, 30149) as (daemon, node):
        armed_and_lit(daemon, node, "--record", str(folder))
        node.hear(0.5)
        for file in folder.iterdir():
            file.unlink()
        folder.rmdir()
        daemon.wait_log("was removed while it was written")
        node.hear(7.0)
        assert_whole(node, 30148)
        assert daemon.end() == 0
        (file,) = folder.glob("*.pcapng")
        done = replay(file, "--show", daemon.show)
        assert done.returncode == 0, done.stdout
