"""What the venue's tracking systems send is read by our readers and by other implementations (pypsn, adm-osc's OSC)."""

from __future__ import annotations

import math
from dataclasses import replace

import pypsn
import pytest
from pythonosc.osc_message import OscMessage

from bridge.geometry.input_frame import InputFrame
from bridge.venue.tags import Sample, Tag
from bridge.venue.tracking_options import Tracking
from bridge.venue.tracking_wire import Packets
from bridge.wire import adm, osc, otp, psn

PLAIN = Tracking("otp", ("127.0.0.1", 5568), "127.0.0.1", {"lead": "1/7", "guest": "1/8"}, system=3, delay_s=0.03)
NUMBERED = replace(PLAIN, points={"lead": "7", "guest": "8"})


def sample(at_s: float, lead: str, guest: str) -> Sample:
    tags = (Tag(lead, (1.0, -2.0, 0.5), (0.1, 0.2, 0.3)), Tag(guest, (0.25, 0.5, 40.0), (0.0, 0.0, 0.0)))
    return Sample(at_s + 0.05, at_s, tags)


def test_e159_carries_places_and_the_time_of_sampling_by_a_clock_of_its_own() -> None:
    wire, reader = Packets(replace(PLAIN, drift_ppm=100.0)), otp.Reader(3)
    found = []
    for k in range(100):
        for packet in wire.of(sample(50.0 + k / 50, "1/7", "1/8")):
            found += reader.take(packet, "127.0.0.1", 50.05 + k / 50)
    lead = [point for point in found if point.name == "1/7"]
    assert (len(found), len(lead)) == (200, 100)
    assert {point.place for point in lead} == {(1.0, -2.0, 0.5)}
    assert {point.velocity for point in found} == {None}
    took_us = (lead[-1].sampled_us or 0) - (lead[0].sampled_us or 0)
    assert took_us == pytest.approx(99 / 50 * 1e6 * 1.0001, abs=2)
    assert (lead[0].sampled_us or 0) > 10**9, "its origin is not ours"
    assert dict(reader.counters) == {"taken": 100}


def test_e159_carries_velocities_where_told() -> None:
    (packet,) = Packets(replace(PLAIN, velocity=True)).of(sample(50.0, "1/7", "1/8"))
    lead = next(p for p in otp.Reader(3).take(packet, "127.0.0.1", 50.05) if p.name == "1/7")
    assert lead.velocity == pytest.approx((0.1, 0.2, 0.3), abs=1e-6)


def test_psn_is_read_by_pypsn_and_by_our_reader() -> None:
    wire, reader = Packets(replace(NUMBERED, protocol="psn", velocity=True)), psn.Reader()
    packets = wire.of(sample(50.0, "7", "8"))
    parsed = [pypsn.parse_psn_packet(packet) for packet in packets]
    data = next(one for one in parsed if isinstance(one, pypsn.psn_data_packet))
    tracker = next(one for one in data.trackers if one.id == 7)
    assert (tracker.pos.x, tracker.pos.y, tracker.pos.z) == (1.0, -2.0, 0.5)
    info = next(one for one in parsed if isinstance(one, pypsn.psn_info_packet))
    assert [(one.tracker_id, one.tracker_name) for one in info.trackers] == [(7, b"lead"), (8, b"guest")]
    found = [point for packet in packets for point in reader.take(packet, "127.0.0.1", 50.05)]
    assert [(p.name, p.place) for p in found] == [("7", (1.0, -2.0, 0.5)), ("8", (0.25, 0.5, 40.0))]
    assert found[0].velocity == pytest.approx((0.1, 0.2, 0.3), abs=1e-6)
    assert found[0].sampled_us is not None
    assert data.info.timestamp - 30_000 == found[0].sampled_us
    assert tracker.timestamp == found[0].sampled_us % 2**32, "pypsn reads half of a tracker's own time"


def test_adm_osc_stays_in_its_room() -> None:
    wire = Packets(replace(NUMBERED, protocol="adm-osc", frame=InputFrame(scale=10.0)))
    first, second = wire.of(sample(50.0, "7", "8"))
    message = OscMessage(first)
    assert (message.address, message.params) == ("/adm/obj/7/xyz", [1.0, -1.0, 0.5])
    reader = adm.Reader()
    assert [p.place for packet in (first, second) for p in reader.take(packet, "h", 0.0)] == [
        (1.0, -1.0, 0.5), (0.25, 0.5, 1.0),
    ]  # fmt: skip


def test_osc_is_told_as_any_controller_tells_it() -> None:
    wire = Packets(replace(PLAIN, protocol="osc", points={"lead": "lead", "guest": "guest"}))
    lead, _ = wire.of(sample(50.0, "lead", "guest"))
    (message,) = osc.decode(lead)
    assert (message.address, list(message.args)) == ("/target/lead/position", [1.0, -2.0])


def test_a_clock_of_its_own_begins_where_its_dice_say() -> None:
    first, again, other = Packets(PLAIN), Packets(PLAIN), Packets(replace(PLAIN, seed=2))
    assert first.clock_us(5.0) == again.clock_us(77.0) != other.clock_us(5.0)
    assert math.isclose(first.clock_us(6.0) - first.clock_us(5.0), 1e6)
