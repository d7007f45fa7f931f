"""ANSI E1.59-2021 (OTP) from outside: messages written by hand from the published layout, octet by octet.

Source of every offset and value: facts/protocols.md, "ANSI E1.59-2021", facts from public texts; no example packet of
the standard was found. The layout of the module advertisement is from memory. tshark 4.0 does not decode E1.59, so no
second program reads these bytes.
"""

from __future__ import annotations

import uuid

import pytest

from bridge.wire import otp, otp_layers, otp_send
from bridge.wire.tracked import Point

CID = uuid.UUID("6b1f0c52-9a0e-4d11-8a54-2f3d1c9be001")

ROOT = (
    "4f54502d45312e3539000000"  # 0 OTP-E1.59 and 3 NUL
    "0001"  # 12 vector: transform
    "009a"  # 14 length from octet 16 on: 63 of this layer, 18 + 73 of those below
    "00"  # 16 footer options
    "00"  # 17 footer length
    "6b1f0c529a0e4d118a542f3d1c9be001"  # 18 CID
    "0000002a"  # 34 folio 42
    "0000"  # 38 page
    "0000"  # 40 last page
    "00"  # 42 options
    "00000000"  # 43 reserved
    "486172626f75722074616773"  # 47 component name, 32 octets: Harbour tags
    "0000000000000000000000000000000000000000"
)
SET = (
    "0001"  # 79 (0) vector
    "0057"  # 81 (2) length from octet 4: 14 of this layer, 73 of the point
    "05"  # 83 (4) system 5
    "00000000000f4240"  # 84 (5) timestamp: 1 000 000 us since the producer's origin
    "80"  # 92 (13) options: full point set
    "00000000"  # 93 (14) reserved
)
POINT = (
    "0001"  # 97 (0) vector
    "0045"  # 99 (2) length from octet 4: 20 of this layer, 19 + 30 of the modules
    "78"  # 101 (4) priority 120
    "0001"  # 102 (5) group 1
    "00000007"  # 104 (7) point 7
    "00000000000f19c8"  # 108 (11) sampled at 989 640 us
    "00"  # 116 (19) options
    "00000000"  # 117 (20) reserved
)
POSITION = (
    "0000"  # 121 (0) manufacturer: the standard's own
    "000f"  # 123 (2) length from octet 4: number and 13 octets
    "0001"  # 125 (4) module 1, position
    "00"  # 127 options: micrometres
    "002625a0"  # 128 x 2 500 000 um
    "ffeced30"  # 132 y -1 250 000 um
    "0010c8e0"  # 136 z 1 100 000 um
)
MOTION = (
    "0000"  # 140 (0) manufacturer
    "001a"  # 142 (2) length from octet 4: number and 24 octets
    "0002"  # 144 (4) module 2, velocity and acceleration
    "000f4240"  # 146 1 000 000 um/s
    "fff85ee0"  # 150 -500 000 um/s
    "00000000"  # 154
    "00000000"  # 158
    "0003d090"  # 162 250 000 um/s²
    "ffffffff"  # 166 -1 um/s²
)
BY_HAND = bytes.fromhex(ROOT + SET + POINT + POSITION + MOTION)


def test_a_message_written_by_hand_is_read() -> None:
    assert len(BY_HAND) == 170
    reader = otp.Reader(5)
    points = reader.take(BY_HAND, "192.0.2.7", 100.0)
    assert points == [Point("1/7", (2.5, -1.25, 1.1), (1.0, -0.5, 0.0), 989_640, CID.hex)]
    assert reader.points(100.5) == [otp.Heard("1/7", "Harbour tags", "192.0.2.7", 120, 0.5, False)]


def test_every_field_of_it() -> None:
    message = otp_layers.open_message(BY_HAND)
    assert message is not None
    assert (message.cid, message.folio, message.page, message.last_page) == (CID.bytes, 42, 0, 0)
    assert (message.system, message.timestamp_us, message.full) == (5, 1_000_000, True)
    (point,) = otp_layers.points_of(BY_HAND, message)
    assert (point.group, point.point, point.priority, point.sampled_us) == (1, 7, 120, 989_640)
    assert point.acceleration == (0.0, 0.25, -1e-6)


def test_the_same_message_is_built() -> None:
    point = otp_send.Sent(1, 7, (2.5, -1.25, 1.1), (1.0, -0.5, 0.0), (0.0, 0.25, -1e-6), 120, 989_640)
    assert otp_send.transform(CID.bytes, "Harbour tags", 5, 42, 1_000_000, [point]) == [BY_HAND]


LONG = bytes.fromhex(
    "4f54502d45312e3539000000"  # 0
    "0001"  # 12
    "0085"  # 14 length 133 = 63 + 18 + 52: the footer is not counted
    "ff"  # 16 footer options, not looked at
    "03"  # 17 footer of 3 octets
    "6b1f0c529a0e4d118a542f3d1c9be001"  # 18
    "ffffffff"  # 34 the last folio before 0
    "0001"  # 38 page 1
    "0002"  # 40 of pages 0, 1, 2
    "ff"  # 42 options, not looked at
    "01020304"  # 43 reserved, not looked at
    "5858585858585858585858585858585858585858585858585858585858585858"  # 47 a name that fills its field, without NUL
    "0001"  # 79
    "0042"  # 81 length 66 = 14 + 52
    "05"  # 83
    "0005af3107a40000"  # 84 timestamp 1 600 000 000 000 000 us
    "00"  # 92 options: a part of the points
    "0a0b0c0d"  # 93 reserved, not looked at
    "0001"  # 97
    "0030"  # 99 length 48 = 20 + 9 + 19
    "c8"  # 101 priority 200
    "ea60"  # 102 group 60 000
    "ffffffff"  # 104 point 4 294 967 295
    "0005af3107a3ffff"  # 108 sampled 1 us before
    "ff"  # 116 options, not looked at
    "01020304"  # 117 reserved, not looked at
    "1234"  # 121 a manufacturer's own module
    "0005"  # 123 length: number and 3 octets
    "0001"  # 125 its module 1 is not the standard's
    "aabbcc"  # 127
    "0000"  # 130
    "000f"  # 132
    "0001"  # 134
    "80"  # 136 options: millimetres
    "000009c4"  # 137 x 2500 mm
    "fffffb1e"  # 141 y -1250 mm
    "7fffffff"  # 145 z as far as it goes
    "deadbe"  # 149 footer
)


def test_millimetres_footer_other_modules_and_reserved_fields() -> None:
    reader = otp.Reader(5)
    (point,) = reader.take(LONG, "192.0.2.7", 0.0)
    assert point == Point("60000/4294967295", (2.5, -1.25, 2_147_483.647), None, 1_599_999_999_999_999, CID.hex)
    assert reader.points(0.0)[0].producer == "X" * 32


def test_groups_and_port() -> None:
    """Transforms go to 239.159.1.SYSTEM, systems 1 to 200; advertisements to 239.159.2.1; UDP 5568."""
    assert (otp.transform_group(1), otp.transform_group(200)) == ("239.159.1.1", "239.159.1.200")
    assert (otp.ADVERTISEMENT_GROUP, otp.PORT) == ("239.159.2.1", 5568)
    for system in (0, 201):
        with pytest.raises(ValueError, match="expected 1 to 200"):
            otp.transform_group(system)


def test_loss() -> None:
    """A point is lost after 7.5 s without a transform that has it."""
    reader = otp.Reader(5)
    reader.take(BY_HAND, "192.0.2.7", 0.0)
    assert [reader.points(at_s)[0].lost for at_s in (7.5, 7.501)] == [False, True]


ADVERTISED = bytes.fromhex(
    "4f54502d45312e3539000000"
    "0002"  # 12 vector: advertisement
    "0057"  # 14 length 87 = 63 + 24
    "0000"  # 16 no footer
    "6b1f0c529a0e4d118a542f3d1c9be001"
    "00000003"  # 34 folio
    "00000000"  # 38 page 0 of 0
    "0000000000"  # 42 options, reserved
    "5465746865726c69676874"  # 47 name: Tetherlight
    "000000000000000000000000000000000000000000"
    "0001"  # 79 vector: modules
    "0014"  # 81 length 20 from octet 4
    "00000000"  # 83 reserved
    "0001"  # 87 vector: list
    "000c"  # 89 length 12 from octet 4
    "00000000"  # 91 reserved
    "00000001"  # 95 position
    "00000002"  # 99 velocity and acceleration
)


def test_module_advertisement() -> None:
    """From memory, no source: two layers of vector 1, length and 4 reserved octets, then the modules' identifiers."""
    assert otp_send.module_advertisement(CID.bytes, "Tetherlight", 3) == ADVERTISED
