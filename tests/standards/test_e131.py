"""ANSI E1.31 from outside: the standard's own example, octet positions, timing counts, and the sacn library as peer.

Source of every number: ANSI E1.31 as collected in facts/protocols.md; clause titles from memory of the 2018 edition.
"""

from __future__ import annotations

import uuid

import numpy as np
import pytest
from sacn.messages.data_packet import DataPacket as SacnData
from sacn.messages.sync_packet import SyncPacket as SacnSync
from sacn.messages.universe_discovery import UniverseDiscoveryPacket as SacnDiscovery
from sacn.receiving.receiver_handler import ReceiverHandler, ReceiverHandlerListener
from sacn.receiving.receiver_socket_base import ReceiverSocketBase

from bridge.wire import e131
from bridge.wire.settings import SacnSettings
from bridge.wire.sources import discards
from bridge.wire.stream import Streams, safe_start

CID = uuid.UUID("ef07c8dd-0064-4401-a3a2-459ef8e6143e").bytes
TABLE_B13 = bytes.fromhex(
    "001000004153432d45312e3137000000726e00000004ef07c8dd00644401a3a2459ef8e6143e725800000002536f757263655f41"
    + "00" * 56
    + "641f1a9a000001720b02a100000001020100"
)
SLOTS = bytes(range(256)) * 2


def u16(octets: bytes, at: int) -> int:
    return int.from_bytes(octets[at : at + 2], "big")


def test_table_b13() -> None:
    """Appendix B, Table B-13: "Source_A", priority 100, synchronisation 7962, sequence 154, universe 1."""
    packet = bytes(e131.DataPacket(CID, "Source_A", 100, 1, 7962).pack(SLOTS, 154))
    assert len(TABLE_B13) == 126
    assert packet == TABLE_B13 + SLOTS
    data = e131.parse(packet)
    assert data == e131.Data(CID, "Source_A", 100, 7962, 154, False, False, False, 1, 0, SLOTS)


def test_option_bits() -> None:
    """Octet 112: 0x80 preview, 0x40 stream terminated."""
    packet = e131.DataPacket(CID, "x", 100, 1)
    assert packet.pack(SLOTS, 0, preview=True)[112] == 0x80
    assert packet.pack(SLOTS, 0, terminated=True)[112] == 0x40
    assert packet.pack(SLOTS, 0)[112] == 0


def test_synchronisation_packet_octets() -> None:
    packet = e131.sync_packet(CID, 7962, 200)
    assert len(packet) == 49
    assert packet[:16].hex() == "001000004153432d45312e3137000000"
    assert u16(packet, 16) == 0x7021
    assert packet[18:22].hex() == "00000008"
    assert packet[22:38] == CID
    assert u16(packet, 38) == 0x700B
    assert packet[40:44].hex() == "00000001"
    assert packet[44] == 200
    assert u16(packet, 45) == 7962
    assert packet[47:49] == b"\0\0"


@pytest.mark.parametrize("n", [1, 3, 512])
def test_universe_discovery_octets(n: int) -> None:
    universes = list(range(n, 0, -1))
    (packet,) = e131.discovery_packets(CID, "Source_A", universes)
    assert len(packet) == 120 + 2 * n
    assert u16(packet, 16) == 0x7000 | (104 + 2 * n)
    assert packet[18:22].hex() == "00000008"
    assert u16(packet, 38) == 0x7000 | (82 + 2 * n)
    assert packet[40:44].hex() == "00000002"
    assert packet[44:108] == b"Source_A" + bytes(56)
    assert packet[108:112] == bytes(4)
    assert u16(packet, 112) == 0x7000 | (8 + 2 * n)
    assert packet[114:118].hex() == "00000001"
    assert (packet[118], packet[119]) == (0, 0)
    assert [u16(packet, at) for at in range(120, len(packet), 2)] == sorted(universes)


def test_universe_discovery_in_pages_of_512() -> None:
    pages = [e131.parse(p) for p in e131.discovery_packets(CID, "x", range(1, 1101))]
    assert all(isinstance(p, e131.Discovery) for p in pages)
    assert [(p.page, p.last_page, len(p.universes)) for p in pages] == [(0, 2, 512), (1, 2, 512), (2, 2, 76)]
    assert [u for p in pages for u in p.universes] == list(range(1, 1101))


def test_groups_and_port() -> None:
    """239.255.high.low, UDP 5568; discovery on 239.255.250.214."""
    assert e131.PORT == 5568
    assert e131.multicast_group(1) == "239.255.0.1"
    assert e131.multicast_group(7962) == "239.255.31.26"
    assert e131.multicast_group(63999) == "239.255.249.255"
    assert e131.multicast_group(e131.DISCOVERY_UNIVERSE) == "239.255.250.214"


# --- the sacn library as an independent peer


def test_the_library_reads_our_packets() -> None:
    packet = bytes(e131.DataPacket(CID, "Tetherlight ä", 110, 63999, 2).pack(SLOTS, 255, terminated=True))
    theirs = SacnData.make_data_packet(tuple(packet))
    assert (theirs.sourceName, theirs.priority, theirs.universe) == ("Tetherlight ä", 110, 63999)
    assert (theirs.sequence, theirs.syncAddr, theirs.cid) == (255, 2, tuple(CID))
    assert (theirs.option_StreamTerminated, theirs.option_PreviewData) == (True, False)
    assert bytes(theirs.dmxData) == SLOTS
    sync = SacnSync.make_sync_packet(tuple(e131.sync_packet(CID, 7, 9)))
    assert (sync.syncAddr, sync.sequence) == (7, 9)
    (page,) = e131.discovery_packets(CID, "x", [3, 1])
    assert SacnDiscovery.make_universe_discovery_packet(tuple(page)).universes == (1, 3)


def test_we_read_the_librarys_packets() -> None:
    theirs = SacnData(tuple(CID), "peer", 9, tuple(SLOTS), 42, 17, False, True, True, 3, 0xDD)
    assert e131.parse(bytes(theirs.getBytes())) == e131.Data(CID, "peer", 42, 3, 17, True, False, True, 9, 0xDD, SLOTS)
    assert e131.parse(bytes(SacnSync(tuple(CID), 5, 6).getBytes())) == e131.Sync(CID, 6, 5)
    page = SacnDiscovery(tuple(CID), "peer", (4, 2), 1, 3)
    assert e131.parse(bytes(page.getBytes())) == e131.Discovery(CID, "peer", 1, 3, (2, 4))


class Heard(ReceiverHandlerListener, ReceiverSocketBase):
    """The library's receiver without its threads and sockets: what its state machine tells a user."""

    def __init__(self) -> None:
        self.available: list[str] = []
        self.slots: list[bytes] = []
        self.receiver = ReceiverHandler("", 0, self, self)

    def on_availability_change(self, universe: int, changed: str) -> None:
        self.available.append(changed)

    def on_dmx_data_change(self, packet: SacnData) -> None:
        self.slots.append(bytes(packet.dmxData))


def test_the_librarys_receiver_hears_a_run_until_it_is_terminated() -> None:
    out, heard, slots = Streams([1], CID, "x", 100), Heard(), np.zeros((1, 512), np.uint8)
    sent = []
    for frame in range(600):  # past the wrap of the sequence; then still, on keep-alives, for longer than 2.5 s
        slots[0, :2] = divmod(min(frame, 300), 256)
        for _, packet in out.packets(slots, frame / 44):
            heard.receiver.on_data(bytes(packet), frame / 44)
            sent.append(slots[0].tobytes())
        heard.receiver.on_periodic_callback(frame / 44)
    assert heard.slots == list(dict.fromkeys(sent))
    assert len(heard.slots) == 301
    assert heard.available == ["available"]
    (first, *_) = out.terminate(slots, 14.0)
    heard.receiver.on_data(first[1], 14.0)
    assert heard.available == ["available", "timeout"]


def test_the_librarys_receiver_hands_priorities_on_under_their_start_code_and_our_levels_are_all_the_rest() -> None:
    """It leaves the start code to its user; a node that does not know 0xDD must not take it for levels."""
    out, heard, told = Streams([1], CID, "x", 0), Heard(), []
    heard.on_dmx_data_change = told.append  # type: ignore[method-assign,assignment]
    slots, priorities, sent = np.zeros((1, 512), np.uint8), np.zeros((1, 512), np.uint8), []
    for frame in range(300):
        slots[0, 0], slots[0, 5], priorities[0, 1] = frame % 256, 9, frame // 100
        for _, packet in out.packets(slots, frame / 44, priorities):
            heard.receiver.on_data(bytes(packet), frame / 44)
        sent.append(slots[0].tobytes())
    levels = [bytes(packet.dmxData) for packet in told if packet.dmxStartCode == 0]
    assert levels == sent
    by_slot = [bytes(packet.dmxData)[1] for packet in told if packet.dmxStartCode == 0xDD]
    assert list(dict.fromkeys(by_slot)) == [0, 1, 2]
    assert len(by_slot) + len(levels) == len(told)


def test_the_librarys_receiver_keeps_to_the_desk_below_whose_priority_our_packets_are() -> None:
    """It knows no priorities by slot, as many nodes do not: all our slots go by the packet's priority of nought."""
    heard, slots = Heard(), np.full((1, 512), 7, np.uint8)
    ours, desk = Streams([1], CID, "x", 0), Streams([1], bytes(16), "desk", 1)
    for frame in range(200):
        slots[0, 0] = frame
        for streams, levels in ((desk, slots), (ours, 255 - slots)):
            for _, packet in streams.packets(levels, frame / 44, *([slots] if streams is ours else [])):
                heard.receiver.on_data(bytes(packet), frame / 44)
    assert [row[0] for row in heard.slots] == list(range(200))
    assert {row[1:] for row in heard.slots} == {bytes([7]) * 511}


# --- sequence rule: -20 < B - A <= 0 in signed 8-bit arithmetic is discarded


def test_the_standards_examples_of_the_discard_rule() -> None:
    assert [b for b in (21, 20, 2, 1) if discards(b, 21)] == [21, 20, 2]


def test_the_discard_rule_against_a_literal_signed_octet() -> None:
    for a in range(256):
        for b in range(256):
            signed = int(np.array([(b - a) % 256], np.uint8).view(np.int8)[0])
            assert discards(b, a) == (-20 < signed <= 0)


def test_a_start_from_zero_can_be_ignored_for_20_frames_and_ours_is_not() -> None:
    """facts/protocols.md: a restart from 0 under the same CID can be ignored for up to 20 frames."""
    assert max(sum(discards(b, a) for b in range(20)) for a in range(256)) == 20
    for stored in range(256):
        for sent_since in range(-20, 216):  # 2 s at 44 packets/s are 88
            assert not discards(safe_start(stored), (stored + sent_since) % 256)


# --- transmission in virtual time


def run(streams: Streams, slots: np.ndarray, until_s: float, step_s: float) -> list[float]:
    """When universe 1's packets go out while nothing changes, called every `step_s`."""
    times = (i * step_s for i in range(int(until_s / step_s)))
    return [t for t in times for universe, _ in streams.packets(slots, t) if universe == 1]


@pytest.mark.parametrize("step_s", [1 / 44, 0.001, 0.05])
def test_unchanged_data_goes_out_three_more_times_then_every_800_to_1000_ms(step_s: float) -> None:
    sent_s = run(Streams([1], CID, "x", 100), np.full((1, 512), 7, np.uint8), 10.0, step_s)
    gaps_s = np.diff(sent_s)
    assert np.all(gaps_s[:3] >= 1 / 44 - 1e-5)
    assert np.all(gaps_s[:3] < 0.06), "the packet and three repeats, one frame apart"
    assert len(gaps_s) >= 12
    assert np.all((gaps_s[3:] >= 0.8) & (gaps_s[3:] <= 1.0))


def test_sequence_counts_every_packet_of_a_universe_and_wraps() -> None:
    streams = Streams([1, 2], CID, "x", 100)
    slots = np.zeros((2, 512), np.uint8)
    seen: dict[int, list[int]] = {1: [], 2: []}
    for i in range(600):
        slots[0, 0] = i % 256
        for universe, packet in streams.packets(slots, i / 44):
            seen[universe].append(packet[111])
    assert seen[1] == [i % 256 for i in range(600)]
    assert seen[2] == list(range(len(seen[2]))), "fewer packets, but none skipped"
    assert 4 < len(seen[2]) < 30


def test_three_terminated_packets_per_universe() -> None:
    streams = Streams([1, 2], CID, "x", 100)
    slots = np.ones((2, 512), np.uint8)
    before = [bytes(p) for _, p in streams.packets(slots, 0.0)]
    ended = [e131.parse(p) for _, p in streams.terminate(slots, 0.1)]
    assert all(isinstance(p, e131.Data) and p.terminated for p in ended)
    assert [p.universe for p in ended] == [1, 2, 1, 2, 1, 2]
    assert [p.sequence for p in ended] == [1, 1, 2, 2, 3, 3]
    assert {p[111] for p in before} == {0}


def test_universe_discovery_every_10_seconds() -> None:
    streams = Streams([1], CID, "x", 100)
    times = [t / 44 for t in range(44 * 100)]
    sent_s = [t for t in times if streams.discovery(t)]
    assert sent_s[0] == 0.0
    assert len(sent_s) == 10
    assert np.all(np.abs(np.diff(sent_s) - 10.0) < 1 / 44)


def test_dmx512_frame_time_is_the_rates_reason() -> None:
    """DMX512-A: break 92 us, mark after break 12 us, 513 slots of 44 us."""
    frame_us = 92 + 12 + 513 * 44
    assert frame_us == 22_676
    assert round(1e6 / frame_us, 1) == 44.1
    assert SacnSettings().rate <= 1e6 / frame_us
    streams = Streams([1], CID, "x", 100, rate=SacnSettings().rate)
    slots, sent_s = np.zeros((1, 512), np.uint8), []
    for i in range(2000):  # called every millisecond with ever new data
        slots[0, 0] = i % 256
        sent_s += [i / 1000 for _ in streams.packets(slots, i / 1000)]
    assert np.diff(sent_s).min() >= frame_us * 1e-6
