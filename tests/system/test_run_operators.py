"""Two operators on one machine, told apart by name: who steers, what is logged; and the feed keeps to the machine."""

from __future__ import annotations

from pathlib import Path

from bridge.wire import osc
from tests.system.daemon_process import Client, Daemon, stage
from tests.system.wire_checks import armed_and_lit


def say_as(daemon: Daemon, name: str, address: str, *args: osc.Argument) -> None:
    daemon.throw(osc.encode_bundle([osc.encode("/operator", name), osc.encode(address, *args)]))


def test_two_names_on_one_machine_are_two_operators_and_both_hear_the_feed(tmp_path: Path) -> None:
    with stage(tmp_path, 30160, 30161) as (daemon, node):
        armed_and_lit(daemon, node)
        daemon.feed("/feed/bridge")
        say_as(daemon, "Ann", "/target/lead/take")
        say_as(daemon, "Bob", "/target/lead/position", 1.0, 4.0)
        told = daemon.event("/feed/refused", lambda args: args[0] == "/target/lead/position")
        assert told[1] == "other-sender"
        assert "steered by Ann@127.0.0.1, not Bob@127.0.0.1" in str(told[2])
        daemon.wait_log("(from Bob@127.0.0.1)")
        say_as(daemon, "Bob", "/dark", 1)
        daemon.wait_log("/dark 1, by Bob@127.0.0.1")
        other = Client(daemon.port)
        say_as(daemon, "Bob", "/feed/subscribe", int(other._sock.getsockname()[1]), 20.0)
        other._sock.settimeout(5.0)
        assert osc.decode(other._sock.recv(65535))[0].address == "/feed/bridge", "a name is no address to send to"
        other.close()
        say_as(daemon, "a@b", "/dark", 0)
        told = daemon.event("/feed/refused", lambda args: args[0] == "/operator")
        assert told[1] == "operator"
        assert daemon.feed("/feed/bridge")[1] is True, "still dark"
        assert daemon.end() == 0
        assert "fault of this program" not in daemon.log
