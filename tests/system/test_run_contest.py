"""Other sources on our universes: what the feed says of each, what the log says and how often."""

from __future__ import annotations

from pathlib import Path

from tests.system.daemon_process import Daemon, stage
from tests.system.other_source import other_source
from tests.system.wire_checks import armed_and_lit, assert_whole

OURS = "System test"


def becomes(daemon: Daemon, universe: int, word: str, name: str = "", priority: int = 0) -> None:
    daemon.event("/feed/universe", lambda args: args == (universe, word, name, priority))


def test_a_higher_priority_that_comes_and_goes_is_told_once_each_and_nothing_stops(tmp_path: Path) -> None:
    with stage(tmp_path, 30160, 30161) as (daemon, node):
        armed_and_lit(daemon, node)
        becomes(daemon, 30160, "sent")
        with other_source(30160, 30161, priority=150):
            daemon.event("/feed/notice", lambda args: args[0].startswith("OVERRULED") and '"House desk"' in args[0])
            becomes(daemon, 30160, "overruled", "House desk", 150)
            becomes(daemon, 30161, "overruled", "House desk", 150)
            node.hear(2.0)
        becomes(daemon, 30160, "sent")
        becomes(daemon, 30161, "sent")
        daemon.wait_log("ours again: no higher priority is heard")
        loud = [line for line in daemon.log.splitlines() if "OVERRULED" in line]
        assert len(loud) == 1
        assert "ERROR" in loud[0]
        assert "30160-30161" in loud[0]
        assert "House desk" in loud[0]
        assert daemon.log.count("ours again") == 1
        node.packets = [(at_s, packet) for at_s, packet in node.packets if packet.source_name == OURS]
        for universe in node.universes:
            assert_whole(node, universe)
        assert daemon.end() == 0


def test_a_lower_priority_is_named_in_the_feed_and_does_not_overrule(tmp_path: Path) -> None:
    with stage(tmp_path, 30162, 30163) as (daemon, node):
        armed_and_lit(daemon, node)
        with other_source(30163, priority=90):
            becomes(daemon, 30163, "sent", "House desk", 90)
            daemon.wait_log('universe 30163 is now also sent by "House desk"')
        assert "OVERRULED" not in daemon.log
        assert daemon.end() == 0


def test_armed_where_every_universe_is_refused_is_an_error_in_words(tmp_path: Path) -> None:
    with stage(tmp_path, 30164, 30165) as (daemon, node):
        daemon.start().ready()
        becomes(daemon, 30164, "waiting")
        with other_source(30164, 30165, priority=100):
            becomes(daemon, 30164, "waiting", "House desk", 100)
            becomes(daemon, 30165, "waiting", "House desk", 100)
            daemon.say("/arm", 1)
            becomes(daemon, 30164, "refused", "House desk", 100)
            becomes(daemon, 30165, "refused", "House desk", 100)
            daemon.wait_log("ARMED, BUT NOTHING IS SENT")
            (line,) = [line for line in daemon.log.splitlines() if "NOTHING IS SENT" in line]
            assert "ERROR" in line
            assert 'refused are 30164-30165: "House desk"' in line
            assert daemon.feed("/feed/bridge")[4:6] == (0, 2)
        assert not [p for p in node.hear(1.5) if p.source_name == OURS], "it is not taken by itself"
        daemon.say("/arm", 1)
        node.until(lambda packet: packet.source_name == OURS)
        becomes(daemon, 30164, "sent")
        assert daemon.end() == 0
