"""The real daemon beside a desk on loopback: what nodes hear, and to whom they fall back. Two witnesses: E1.31's rules
by our own receiver, and the receiver of the `sacn` library."""

from __future__ import annotations

import itertools
import random
import signal
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from bridge.show import load
from bridge.wire.receiver import Receiver
from tests.system.console import console
from tests.system.daemon_process import Daemon, Node, stage
from tests.system.other_source import other_source
from tests.system.wire_checks import assert_whole, follow, raw

OURS = "System test"


def owned(daemon: Daemon, name: str) -> set[int]:
    """The slots of a head, from 0, that are ours while it follows."""
    fixture = next(f for f in load(daemon.show).fixtures if f.name == name)
    offsets = itertools.chain.from_iterable(fixture.profile.channels.values())
    return {fixture.address + offset - 2 for offset in offsets}


@contextmanager
def beside(folder: Path, first: int, second: int, desk: str) -> Iterator[tuple[Daemon, Node]]:
    """A show with a desk, not started."""
    with stage(folder, first, second) as (daemon, node):
        with (daemon.show / "network.yaml").open("a", encoding="utf-8") as network:
            network.write(f"desk: {desk}\n")
        yield daemon, node


def seen_by_node(node: Node, universe: int) -> list[tuple[float, int, str]]:
    """What a node shows after each packet that it heard: when (UTC), the first slot, and whose it is."""
    receiver, shown = Receiver([universe], sampling_s=0.0), []
    for at_s, packet in node.packets:
        receiver.take(packet, packet.source_name, at_s)
        frame = receiver.frame(universe, at_s)
        if frame is not None:
            shown.append((at_s, frame.slots[0], frame.source))
    return shown


def test_nothing_before_the_desk_then_its_frame_with_ours_over_it(tmp_path: Path) -> None:
    with beside(tmp_path, 30300, 30301, "{universes: {30300: 30310, 30301: 30311}}") as (daemon, node):
        daemon.start("--armed")
        daemon.wait_log("30310")
        assert node.hear(2.0) == []
        with console(30310, 30311) as desk:
            for levels in desk.levels.values():
                levels[:] = random.Random(1).randbytes(512)
                levels[7:9] = levels[107:109] = b"\xff\xff"  # both heads' dimmers
            follow(daemon, node)
            mine, packet = owned(daemon, "a"), node.until(lambda p: p.universe == 30300)
            others = [place for place in range(512) if place not in mine]
            assert [packet.slots[place] for place in others] == [desk.levels[30310][place] for place in others]
            desk.levels[30310][400] = 1
            changed_s = time.time()
            node.until(lambda p: p.universe == 30300 and p.slots[400] == 1)
            assert node.packets[-1][0] - changed_s < 0.2, "a period of the desk's, one of ours, and a busy machine"
            desk.levels[30310][7:9] = b"\x80\x00"
            half = node.until(lambda p: p.universe == 30300 and raw(p, "dimmer") < 65535)
            assert raw(half, "dimmer") == 0x8000, "the desk's light times ours"
            assert daemon.feed("/feed/desk")[:4] == (30310, "Console", 100, True)
            for universe in node.universes:
                assert_whole(node, universe)
        daemon.wait_log("THE DESK IS LOST on universes 30310-30311")
        daemon.say("/target/lead/position", -2.0, 4.0)
        held = node.until(lambda p: p.universe == 30300)
        assert [held.slots[place] for place in others] == [desk.levels[30310][place] for place in others]
        assert daemon.log.count("IS LOST") == 1
        assert daemon.end() == 0


def test_main_dies_and_the_backup_is_heard(tmp_path: Path) -> None:
    with (
        beside(tmp_path, 30302, 30303, "{universes: {30302: 30312, 30303: 30313}}") as (daemon, node),
        console(30312, 30313, priority=100, name="Main") as main,
        console(30312, 30313, priority=90, name="Backup") as backup,
    ):
        for desk, level in ((main, 11), (backup, 22)):
            for levels in desk.levels.values():
                levels[400] = level
        daemon.start("--armed")
        node.until(lambda p: p.universe == 30302 and p.slots[400] == 11)
        main.cut()
        cut_s = time.time()
        node.until(lambda p: p.universe == 30302 and p.slots[400] == 22, within_s=4.0)
        assert 2.3 < node.packets[-1][0] - cut_s < 3.2, "2.5 s (E1.31, network data loss) after the last packet"
        assert daemon.feed("/feed/desk")[1] == "Backup"
        assert daemon.end() == 0


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGSTOP, signal.SIGTERM])
def test_when_we_die_freeze_or_stop_a_node_shows_the_desk_on_the_same_universe(
    tmp_path: Path, number: signal.Signals
) -> None:
    with (
        beside(tmp_path, 30304, 30305, "{universes: {30304: 30304, 30305: 30305}}") as (daemon, node),
        console(30304, 30305) as desk,
    ):
        for levels in desk.levels.values():
            levels[0], levels[7:9], levels[107:109] = 200, b"\xff\xff", b"\xff\xff"
        daemon.start("--armed")
        node.until(lambda p: p.source_name == OURS)
        follow(daemon, node)
        assert daemon.process is not None
        at_s = time.time()
        daemon.process.send_signal(number)
        node.hear(4.0 if number is not signal.SIGTERM else 1.0)
        shown = seen_by_node(node, 30304)
        before = [source for when_s, _, source in shown if when_s <= at_s]
        assert before[-1] == OURS, "until then it obeyed us, at the higher priority"
        fell_s = next(when_s for when_s, _, source in shown if when_s > at_s and source == "Console")
        last_s = max(when_s for when_s, p in node.packets if p.universe == 30304 and p.source_name == OURS)
        if number is signal.SIGTERM:
            assert fell_s - at_s < 2 / 44 + 0.05, "two frames, and a busy machine"
            assert [p.terminated for p in node.of(30304) if p.source_name == OURS][-3:] == [True] * 3
        else:
            assert 2.4 < fell_s - last_s < 2.7, "2.5 s, and no longer (E1.31, network data loss)"
        assert shown[-1][1:] == (200, "Console")
        daemon.process.send_signal(signal.SIGCONT)


def test_by_slot_a_node_puts_the_two_together_and_one_that_does_not_know_it_obeys_the_desk(tmp_path: Path) -> None:
    with beside(tmp_path, 30306, 30307, "{way: by-slot}") as (daemon, node):
        with console(30306, 30307) as desk:
            for levels in desk.levels.values():
                levels[:] = random.Random(2).randbytes(512)
                levels[7:9] = levels[107:109] = b"\xff\xff"
            daemon.start("--armed")
            node.until(lambda p: p.source_name == OURS)
            daemon.say("/target/lead/position", 1.0, 4.0)
            node.hear(6.0)
            ours = [p for p in node.of(30306) if p.source_name == OURS]
            assert ours[0].start_code == 0xDD, "priorities come before the first levels"
            assert {p.priority for p in ours} == {0}
            steps = {(b.sequence - a.sequence) % 256 for a, b in itertools.pairwise(ours)}
            assert steps == {1}, "one counter over both"
            knows, does_not = Receiver([30306], sampling_s=0.0), Receiver([30306], sampling_s=0.0, per_address=False)
            for at_s, packet in node.packets:
                for receiver in (knows, does_not):
                    receiver.take(packet, packet.source_name, at_s)
            merged, plain = (receiver.frame(30306, node.packets[-1][0]) for receiver in (knows, does_not))
            assert merged is not None
            assert plain is not None
            levels, mine = ours[-1] if ours[-1].start_code == 0 else ours[-2], owned(daemon, "a")
            for place in range(512):
                assert merged.slots[place] == (levels.slots if place in mine else desk.levels[30306])[place], place
            assert raw(levels, "dimmer") == 65535
            assert plain.slots == bytes(desk.levels[30306])
        assert daemon.end() == 0


def test_a_head_goes_into_the_desks_hands_and_back_and_is_recorded_from_there(tmp_path: Path) -> None:
    with beside(tmp_path, 30308, 30309, "{universes: {30308: 30318, 30309: 30319}}") as (daemon, node):
        with console(30318, 30319) as desk:
            for levels in desk.levels.values():
                levels[0:4] = b"\x90\x00\xa0\x00"
                levels[7:9] = levels[107:109] = b"\xff\xff"
            daemon.start("--armed")
            node.until(lambda p: True)
            follow(daemon, node)
            followed = raw(node.of(30308)[-1], "pan")
            node.packets.clear()
            daemon.say("/fixture/a/desk", 1)
            daemon.event("/feed/fixture", lambda args: args[:2] == ("a", "desk"))
            theirs = node.until(
                lambda p: p.universe == 30308 and p.slots[:4] == b"\x90\x00\xa0\x00" and raw(p, "dimmer") == 65535
            )
            assert raw(theirs, "pan") == 0x9000
            pans = {raw(p, "pan") for p in node.of(30308) if raw(p, "dimmer") > 0}
            assert pans <= {followed, 0x9000}, "lit only where it belonged, before and after"
            daemon.say("/sight/a/record", "A")
            sighted = daemon.event("/feed/sighting")
            assert sighted[:2] == ("a", "A")
            assert sighted[2] == pytest.approx(0x9000 / 65535 * 540 - 270, abs=0.01)
            assert sighted[3] == pytest.approx(0xA000 / 65535 * 270 - 135, abs=0.01)
            daemon.say("/sight/a/point", 0.0, 0.0)
            refused = daemon.event("/feed/refused")
            assert "desk's hands" in str(refused[2])
            daemon.say("/target/lead/position", 1.0, 4.0)
            daemon.say("/fixture/a/desk", 0)
            daemon.event("/feed/fixture", lambda args: args[:2] == ("a", "lit"))
            node.until(lambda p: p.universe == 30308 and raw(p, "pan") != 0x9000 and raw(p, "dimmer") == 65535)
        assert daemon.end() == 0


def test_the_library_sends_and_slots_of_its_desk_operate_ours(tmp_path: Path) -> None:
    """The desk is the `sacn` library's sender; a slot makes everything dark, with hysteresis, and asks in vain."""
    desk = (
        "{universes: {30320: 30330, 30321: 30330}, dimmer: ours, "
        "controls: [{slots: [30330.500], to: /dark, above: 127}, "
        "{slots: [30330.501], to: /fixture/a/act, choose: {100: [nothing]}}]}"
    )
    with beside(tmp_path, 30320, 30321, desk) as (daemon, node):
        with other_source(30330, priority=100) as sender:
            daemon.start("--armed")
            node.until(lambda p: True)
            follow(daemon, node)
            slots = [0] * 512
            slots[499] = 200
            sender[30330].dmx_data = tuple(slots)
            node.until(lambda p: p.universe == 30320 and raw(p, "dimmer") == 0)
            assert daemon.feed("/feed/bridge")[1] is True
            slots[499], slots[500] = 120, 200
            sender[30330].dmx_data = tuple(slots)
            daemon.wait_log("has no action nothing")
            assert daemon.feed("/feed/bridge")[1] is True, "120 is not below 117"
            slots[499] = 0
            sender[30330].dmx_data = tuple(slots)
            node.until(lambda p: p.universe == 30320 and raw(p, "dimmer") == 65535)
        daemon.wait_log("THE DESK IS LOST")
        assert daemon.end() == 0
