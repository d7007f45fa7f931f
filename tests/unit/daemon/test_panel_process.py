"""The panel's process, its time a number and its processes objects: pauses, what is said, what ends it."""

from __future__ import annotations

import signal
from pathlib import Path
from subprocess import TimeoutExpired
from typing import Any

import pytest

from bridge.daemon import panel_process
from bridge.daemon.logs import LOG
from bridge.daemon.panel_process import GRACE_S, PORT_TAKEN, PanelProcess, command
from bridge.wire.settings import PanelSettings, reached_at

HERE, THERE = PanelSettings(), PanelSettings(port=8899)


class Child:
    """A process that ends when a test says so, or on the signals that it obeys."""

    def __init__(self, words: list[str]) -> None:
        self.words, self.code, self.signals = words, None, []
        self.stdin = self
        self.closed = self.stubborn = False

    def poll(self) -> int | None:
        return self.code

    def send_signal(self, number: int) -> None:
        self.signals.append(number)
        if self.code is None and (number == signal.SIGKILL or not self.stubborn):
            self.code = -number

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)

    def wait(self, timeout: float) -> int:
        if self.code is None:
            raise TimeoutExpired("child", timeout)
        return self.code

    def close(self) -> None:
        self.closed = True


class Watch:
    """Looks ten times a second, as the chores do."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.children: list[Child] = []
        self.starts: list[float] = []
        self.fault: Exception | None = None
        self.code: int | None = None
        self.now_s = 100.0
        monkeypatch.setattr(panel_process, "open_process", self.open)
        self.panel = PanelProcess(lambda settings: ["panel", str(settings.port)])

    def open(self, words: list[str]) -> Any:
        self.starts.append(self.now_s)
        if self.fault is not None:
            raise self.fault
        self.children.append(Child(words))
        self.children[-1].code = self.code
        return self.children[-1]

    def run(self, seconds: float) -> None:
        for _ in range(round(seconds * 10)):
            self.now_s += 0.1
            self.panel.look(self.now_s)
            if self.panel._starter is not None:
                self.panel._starter.join(5.0)

    @property
    def lives(self) -> list[str]:
        """What is served where by those that live."""
        return [child.words[1] for child in self.children if child.code is None]


@pytest.fixture
def watch(monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture) -> Watch:
    monkeypatch.setattr(LOG, "propagate", True)
    caplog.set_level("INFO", LOG.name)
    return Watch(monkeypatch)


def test_it_is_started_once_and_left_alone(watch: Watch, caplog: pytest.LogCaptureFixture) -> None:
    watch.panel.want(HERE)
    watch.run(60.0)
    assert watch.lives == ["8787"]
    assert len(watch.starts) == 1
    assert caplog.records == []


def test_nothing_is_started_that_nobody_wants(watch: Watch) -> None:
    watch.panel.want(None)
    watch.run(5.0)
    watch.panel.close()
    assert watch.starts == []


def test_one_that_was_killed_is_back_after_half_a_second(watch: Watch, caplog: pytest.LogCaptureFixture) -> None:
    watch.panel.want(HERE)
    watch.run(30.0)
    watch.children[0].code = -9
    killed_s = watch.now_s
    watch.run(2.0)
    assert watch.lives == ["8787"]
    assert watch.children[0].closed, "its pipe is given back"
    assert watch.starts[1] - killed_s == pytest.approx(0.65, abs=0.11)
    (line,) = [record.message for record in caplog.records]
    assert line == "the panel was killed by signal 9; the show goes on, and it is started again in 0.5 s"


def test_one_that_dies_at_once_is_tried_in_pauses_that_grow_and_each_is_said_once(
    watch: Watch, caplog: pytest.LogCaptureFixture
) -> None:
    watch.panel.want(HERE)
    watch.code = 1
    watch.run(60.0)
    pauses = [later - sooner for sooner, later in zip(watch.starts, watch.starts[1:], strict=False)]
    for pause, asked in zip(pauses, (0.5, 1, 2, 4, 8, 10, 10, 10), strict=False):
        assert pause == pytest.approx(asked + 0.15, abs=0.16)
    assert len(caplog.records) in (len(watch.starts), len(watch.starts) - 1)
    assert "exit code 1" in caplog.records[0].message
    watch.code = None
    watch.run(25.0)
    assert caplog.records[-1].message == "the panel runs again"
    watch.children[-1].code = 1
    watch.run(0.2)
    assert "in 0.5 s" in caplog.records[-1].message, "it lived for a while: the pause is the first one again"


def test_a_port_that_is_taken_is_said_once_and_tried_quietly(watch: Watch, caplog: pytest.LogCaptureFixture) -> None:
    watch.panel.want(HERE)
    watch.code = PORT_TAKEN
    watch.run(60.0)
    assert 5 <= len(watch.starts) <= 7
    (line,) = [record.message for record in caplog.records]
    assert line == "THERE IS NO PANEL, its port is taken (exit code 3): tried every 10 s; the show goes on"
    watch.code = None
    watch.run(25.0)
    assert watch.lives == ["8787"]


def test_what_cannot_be_started_is_said_and_tried_again(watch: Watch, caplog: pytest.LogCaptureFixture) -> None:
    watch.panel.want(HERE)
    watch.fault = OSError(12, "Cannot allocate memory")
    watch.run(1.0)
    assert "could not be started: [Errno 12] Cannot allocate memory" in caplog.records[0].message
    watch.fault = None
    watch.run(10.0)
    assert watch.lives == ["8787"]


def test_another_address_ends_the_one_and_starts_the_other(watch: Watch, caplog: pytest.LogCaptureFixture) -> None:
    watch.panel.want(HERE)
    watch.run(5.0)
    watch.panel.want(THERE)
    watch.run(1.0)
    assert watch.children[0].signals == [signal.SIGTERM]
    assert watch.lives == ["8899"]
    watch.panel.want(THERE)
    watch.run(5.0)
    assert len(watch.starts) == 2
    watch.panel.want(None)
    watch.run(1.0)
    assert watch.lives == []
    watch.panel.want(HERE)
    watch.run(1.0)
    assert watch.lives == ["8787"]
    assert caplog.records == [], "all at our word"


def test_one_that_does_not_end_on_being_asked_is_killed(watch: Watch) -> None:
    watch.panel.want(HERE)
    watch.run(1.0)
    watch.children[0].stubborn = True
    watch.panel.want(THERE)
    watch.run(GRACE_S - 0.2)
    assert watch.lives == ["8787"], "never two at once"
    watch.run(1.0)
    assert watch.children[0].signals == [signal.SIGTERM, signal.SIGKILL]
    assert watch.lives == ["8899"]


@pytest.mark.parametrize("stubborn", [False, True])
def test_at_the_end_it_is_asked_at_once_and_none_is_left(watch: Watch, stubborn: bool) -> None:
    watch.panel.want(HERE)
    watch.run(1.0)
    (child,) = watch.children
    child.stubborn = stubborn
    watch.panel.end()
    assert child.signals == [signal.SIGTERM]
    watch.panel.close()
    assert child.code == (-signal.SIGKILL if stubborn else -signal.SIGTERM)
    assert child.closed


def test_one_that_is_just_being_started_is_ended_too(watch: Watch) -> None:
    watch.panel.want(HERE)
    watch.panel.look(watch.now_s)
    watch.panel.close()
    assert [child.code for child in watch.children] == [-signal.SIGTERM]


def test_the_words_say_where_the_daemon_is_heard_and_where_to_listen() -> None:
    words = command(Path("myshow"), ("127.0.0.1", 9000), ("::1", 8787), Path("/state"))
    assert words[1:] == [
        *("-m", "bridge", "panel", "myshow", "--bridge", "127.0.0.1:9000"),
        *("--listen", "[::1]:8787", "--state", "/state", "--until-eof"),
    ]
    hosts = {"0.0.0.0": "127.0.0.1", "::": "::1", "10.0.0.5": "10.0.0.5"}
    assert {host: reached_at(host) for host in hosts} == hosts
