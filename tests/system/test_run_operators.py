"""Two operators on one machine, told apart by name: who steers, what is logged; and the feed keeps to the machine."""

from __future__ import annotations

import socket
import time
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


class Panel:
    """Subscribes to everything from a socket of its own, as the panel does."""

    def __init__(self, daemon: Daemon) -> None:
        self._sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._sock.bind(("127.0.0.1", 0))
        self._sock.settimeout(5.0)
        self._daemon, self.port = daemon, int(self._sock.getsockname()[1])

    def until(self, address: str, *start: osc.Argument) -> tuple[osc.Argument, ...]:
        """The next row that begins so."""
        self._daemon.say("/feed/subscribe", self.port, 30.0, "all")
        end_s = time.monotonic() + 8.0
        while time.monotonic() < end_s:
            for message in osc.decode(self._sock.recv(65535)):
                if message.address == address and message.args[: len(start)] == start:
                    return message.args
        raise AssertionError(f"no {address} {start}; {self._daemon.told()}")

    def close(self) -> None:
        self._sock.close()


def test_a_panel_hears_whose_hand_it_is_what_is_switched_and_who_did_it(tmp_path: Path) -> None:
    with stage(tmp_path, 30162, 30163) as (daemon, node):
        area = "more_areas: [{name: thrust, corners: [[-1, -2], [1, -2], [1, 0], [-1, 0]], on: off}]\n"
        daemon.edit("stage.yaml", "marks:", area + "marks:")
        armed_and_lit(daemon, node)
        panel = Panel(daemon)
        assert panel.until("/feed/head", "b") == ("b", "lead", False, False, False, False, 1.0)
        assert panel.until("/feed/area") == ("thrust", False)
        say_as(daemon, "Ann", "/target/lead/take")
        say_as(daemon, "Ann", "/target/lead/size", 1.5)
        assert panel.until("/feed/hand", "lead", "Ann@127.0.0.1")[2] == 1.0
        say_as(daemon, "Ann", "/area/thrust", 1)
        assert panel.until("/feed/area", "thrust", True)
        say_as(daemon, "Bob", "/fixture/b/out", 1)
        assert panel.until("/feed/head", "b", "lead", True)
        assert 0.0 <= float(str(panel.until("/feed/by", "out", "Bob@127.0.0.1")[2])) < 8.0
        say_as(daemon, "Bob", "/truss/t/still", 1)
        assert panel.until("/feed/still") == ("truss", "t", "Bob@127.0.0.1")
        say_as(daemon, "Bob", "/truss/t/still", 0)
        assert panel.until("/feed/still", "truss", "t", "")
        say_as(daemon, "Bob", "/level", 7.0)
        assert panel.until("/feed/count", "range")[1] == 1
        assert panel.until("/feed/late")[2:] == (False, False)
        daemon.say("/feed/subscribe", panel.port, 30.0, "some")
        daemon.wait_log("expected all, or nothing")
        panel.close()
        assert daemon.end() == 0
        assert "fault of this program" not in daemon.log
