"""When a datagram arrived, by the kernel's stamp: what waited in the socket is as old as it waited."""

from __future__ import annotations

import socket
import time
from collections.abc import Iterator

import pytest

from bridge.daemon import clock
from bridge.daemon.endpoint import open_osc
from bridge.daemon.kernel_time import receive


@pytest.fixture
def pair() -> Iterator[tuple[socket.socket, socket.socket]]:
    listens = open_osc("127.0.0.1", 0)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sends:
        sends.connect(listens.getsockname())
        yield listens, sends
    listens.close()


def test_datagrams_that_waited_have_the_times_at_which_they_came(pair: tuple[socket.socket, socket.socket]) -> None:
    listens, sends = pair
    sent_s = []
    for number in range(3):
        sent_s.append(clock.now_s())
        sends.send(bytes([number]))
        time.sleep(0.02)
    read_s = clock.now_s()
    for number in range(3):
        data, sender, at_s = receive(listens, 100, clock.now_s)
        assert (data, sender) == (bytes([number]), sends.getsockname())
        assert sent_s[number] - 1e-4 <= at_s <= sent_s[number] + 0.015 < read_s
        assert abs(at_s * 1e6 - round(at_s * 1e6)) < 1e-3


@pytest.mark.parametrize("step_s", [-0.5, 1.5, 3600.0])
def test_a_wall_clock_that_was_set_meanwhile_makes_it_arrive_now(
    pair: tuple[socket.socket, socket.socket], step_s: float
) -> None:
    listens, sends = pair
    sends.send(b"x")
    assert receive(listens, 100, lambda: 77.0, lambda: time.time_ns() + round(step_s * 1e9))[2] == 77.0


def test_a_socket_without_stamps_gives_the_moment_of_reading() -> None:
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as listens,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sends,
    ):
        listens.bind(("127.0.0.1", 0))
        sends.sendto(b"x", listens.getsockname())
        assert receive(listens, 100, lambda: 5.0)[2] == 5.0


def test_nothing_there_is_said_as_by_any_socket(pair: tuple[socket.socket, socket.socket]) -> None:
    with pytest.raises(BlockingIOError):
        receive(pair[0], 100, clock.now_s)
