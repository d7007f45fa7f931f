"""ADM-OSC 1.0 from outside: PyPI adm-osc (1.0.2) as a peer both ways, and BS.2127's polar places.

Its client sends to a socket of ours on loopback and our reader reads; its handler, which checks words, types and
ranges, reads what we build. The polar table was evaluated on 2026-11-26 with `ear.common.cart` of PyPI ear 2.1.0, the
open renderer of ITU-R BS.2127 (not installed for tests: the formula is three lines).

Traps of adm-osc found here: the client clips whatever is out of range without a word; it starts a thread that lives
until `server.shutdown()`; a dictionary of words is keyed by attribute, so that the listener's x stands for an object's;
an int where a float is expected is an error to its handler; `[1-3]` is a range of numbers to it, and one letter of
three to OSC; a message to `/adm/obj/x/...` raises ValueError from int().
"""

from __future__ import annotations

import contextlib
import math
import socket
from collections.abc import Iterator

import pytest
from adm_osc import OscClientServer, protocol, stable_params
from adm_osc.handler import adm_handler
from hypothesis import given
from hypothesis import strategies as st
from pythonosc.osc_message import OscMessage

from bridge.wire import adm
from bridge.wire.osc import encode

HOST = "127.0.0.1"
SHARE = st.floats(-1, 1, width=32)


@contextlib.contextmanager
def peer() -> Iterator[tuple[OscClientServer, socket.socket]]:
    """Its client, sending to a socket of ours."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as ours:
        ours.bind((HOST, 0))
        ours.settimeout(5)
        client = OscClientServer(HOST, ours.getsockname()[1], 0)
        try:
            yield client, ours
        finally:
            client.server.shutdown()
            client.server.server_close()
            client._sock.close()


def heard(reader: adm.Reader, ours: socket.socket) -> list[tuple[str, tuple[float, ...]]]:
    """What one datagram gives, to six digits."""
    packet, (host, _port) = ours.recvfrom(2048)
    return [(p.name, tuple(round(number, 6) for number in p.place)) for p in reader.take(packet, host, 0.0)]


def test_what_its_client_sends_is_read() -> None:
    reader = adm.Reader()
    with peer() as (client, ours):
        client.send_object_cartesian_position(7, (0.5, -0.25, 1.0))
        assert heard(reader, ours) == [("7", (0.5, -0.25, 1.0))]
        client.send_object_position_xy(7, (-0.5, 0.75))
        assert heard(reader, ours) == [("7", (-0.5, 0.75, 1.0))], "z stays"
        client.send_object_position_x(7, 0.125)
        assert heard(reader, ours) == [("7", (0.125, 0.75, 1.0))]
        client.send_object_position_y(7, 0.25)
        assert heard(reader, ours) == [("7", (0.125, 0.25, 1.0))]
        client.send_object_position_z(7, -1.0)
        assert heard(reader, ours) == [("7", (0.125, 0.25, -1.0))]
        client.send_object_polar_position(7, (90.0, 0.0, 0.5))
        assert heard(reader, ours) == [("7", (-0.5, 0.0, 0.0))], "+90 degrees is left"
        client.send_object_position_azimuth(7, -90.0)
        assert heard(reader, ours) == [("7", (0.5, 0.0, 0.0))]
        client.send_object_position_elevation(7, 90.0)
        assert heard(reader, ours) == [("7", (0.0, 0.0, 0.5))]
        client.send_object_position_distance(7, 1.0)
        assert heard(reader, ours) == [("7", (0.0, 0.0, 1.0))]
    assert dict(reader.point_counters) == {"taken": 9}


def test_its_dmax_makes_metres_and_its_other_words_are_passed_over() -> None:
    reader = adm.Reader()
    with peer() as (client, ours):
        for parameter in protocol.get_stable_parameters():
            if parameter.object_type is protocol.obj and parameter.osc_command in ("w", "gain", "dref", "mute"):
                client.send_object_value_type(7, parameter, protocol.ValueType.Default)
                assert heard(reader, ours) == []
        client.send_message(stable_params.name.get_osc_command(7), "singer")
        assert heard(reader, ours) == []
        client.send_message(stable_params.xyz.get_osc_query_command(7), [])
        assert heard(reader, ours) == []
        client.send_object_value(7, stable_params.dmax, 20.0)
        assert heard(reader, ours) == []
        client.send_object_cartesian_position(7, (0.5, -0.25, 0.0))
        assert heard(reader, ours) == [("7", (10.0, -5.0, 0.0))]
        client.send_message(stable_params.l_x.get_osc_command(None), 0.5)
        assert heard(reader, ours) == []
        client.send_object_value("*", stable_params.gain, 0.5)
        assert heard(reader, ours) == []
    assert reader.names == {"7": "singer"}
    assert dict(reader.point_counters) == {"other-word": 5, "name": 1, "query": 1, "dmax": 1, "taken": 1, "pattern": 1}


def test_its_client_clips_and_we_refuse() -> None:
    reader = adm.Reader()
    with peer() as (client, ours):
        client.send_object_cartesian_position(7, (3.0, 0.0, 0.0))
        assert heard(reader, ours) == [("7", (1.0, 0.0, 0.0))]
    assert reader.take(encode("/adm/obj/7/xyz", 3.0, 0.0, 0.0), HOST, 0.0) == []
    assert reader.point_counters["range"] == 1


@given(st.integers(0, 999), SHARE, SHARE, SHARE)
def test_its_handler_takes_what_we_build(number: int, x: float, y: float, z: float) -> None:
    message = OscMessage(adm.position(number, x, y, z))
    target, objects, parameter, arguments = adm_handler(message.address, *message.params)
    assert (target, objects, parameter.osc_command) == ("obj", number, "xyz")
    assert arguments == (x, y, z)


@pytest.mark.parametrize("word", ["xyz", "xy", "x", "y", "z", "aed", "azim", "elev", "dist"])
@given(data=st.data())
def test_where_its_handler_refuses_a_place_so_do_we(word: str, data: st.DataObject) -> None:
    """Numbers of 32 bits in and out of the ranges; how many arguments, too."""
    near = st.floats(-2, 2, width=32) | st.sampled_from([-180.0, 180.0, 180.5, -180.5, 90.0, 90.5, -90.0, -90.5])
    args = data.draw(st.lists(near, min_size=1, max_size=4))
    reader = adm.Reader()
    reader.take(adm.position(7, 0.5, 0.5, 0.5), HOST, 0.0)
    ours = len(reader.take(encode(f"/adm/obj/7/{word}", *args), HOST, 0.0)) == 1
    try:
        adm_handler(f"/adm/obj/7/{word}", *args)
        theirs = True
    except ValueError:
        theirs = False
    assert ours == theirs


POLAR = [
    ((0, 0, 1), (0.0, 1.0, 0.0)),
    ((90, 0, 1), (-1.0, 0.0, 0.0)),
    ((-90, 0, 0.5), (0.5, 0.0, 0.0)),
    ((180, 0, 1), (0.0, -1.0, 0.0)),
    ((0, 90, 1), (0.0, 0.0, 1.0)),
    ((30, 0, 1), (-0.5, 0.866025, 0.0)),
    ((-110, 30, 0.8), (0.651038, -0.236959, 0.4)),
    ((45, -20, 0.25), (-0.166116, 0.166116, -0.085505)),
]


@pytest.mark.parametrize(("polar", "cartesian"), POLAR)
def test_polar_places_are_those_of_bs2127(polar: tuple[float, ...], cartesian: tuple[float, ...]) -> None:
    (point,) = adm.Reader().take(encode("/adm/obj/1/aed", *map(float, polar)), HOST, 0.0)
    assert point.place == pytest.approx(cartesian, abs=1e-6)


@given(st.floats(-179, 179), st.floats(-89, 89), st.floats(0.01, 1))
def test_polar_places_come_back(azimuth: float, elevation: float, distance: float) -> None:
    back = adm.to_polar(*adm.from_polar(azimuth, elevation, distance))
    assert back == pytest.approx((azimuth, elevation, distance), abs=1e-6)
    assert math.hypot(*adm.from_polar(azimuth, elevation, distance)) == pytest.approx(distance)
