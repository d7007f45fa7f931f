"""DMX values as GDTF files write them. Examples of DIN SPEC 15800 (facts/profiles.md), else worked by hand."""

from __future__ import annotations

import pytest

from bridge.exchange.gdtf_values import address_of, break_of, bytes_of, dmx_value, offsets_of
from bridge.exchange.xml_tree import parse_xml


@pytest.mark.parametrize(
    ("text", "size", "raw"),
    [
        ("128/1", 2, 32896),
        ("128/1s", 2, 32768),
        ("255/1", 2, 65535),
        ("255/1s", 2, 65280),
        ("255/1", 4, 4294967295),
        ("1/1", 3, 0x010101),
        ("4660/2", 3, 0x123412),
        ("4660/2", 4, 0x12341234),
        ("4660/2s", 4, 0x12340000),
        ("32768/2", 2, 32768),
        ("32768/2", 1, 128),
        ("65535/2", 1, 255),
        ("16777215/3", 2, 65535),
        ("7", 1, 7),
        ("128", 2, 32896),
        (" 12 / 1 ", 1, 12),
        ("0/1", 2, 0),
    ],
)
def test_values_are_scaled_to_their_channel(text: str, size: int, raw: int) -> None:
    assert dmx_value(text, size) == raw


@pytest.mark.parametrize(
    "text", ["", "None", "abc", "-1/1", "256/1", "1/0", "1/9", "1/", "1.5/1", "nan/1", "1" * 30 + "/1"]
)
def test_what_is_no_value_is_none(text: str) -> None:
    assert dmx_value(text, 2) is None


def test_bytes_are_coarse_first() -> None:
    assert bytes_of(0x123456, 3) == (0x12, 0x34, 0x56)
    assert bytes_of(99999, 2) == (255, 255)


@pytest.mark.parametrize(
    ("attributes", "offsets"),
    [
        ('Offset="3,1"', (3, 1)),
        ('Offset="10, 12,14,16"', (10, 12, 14, 16)),
        ('Offset=""', ()),
        ('Offset="None"', ()),
        ("", ()),
        ('Coarse="4" Fine="9" Ultra="None"', (4, 9)),
        ('Coarse="4" Fine="0" Ultra="-1" Uber=""', (4,)),
        ('Offset="1,x"', None),
        ('Offset="1,1"', None),
        ('Offset="0"', None),
        ('Offset="1.5"', None),
    ],
)
def test_offsets(attributes: str, offsets: tuple[int, ...] | None) -> None:
    assert offsets_of(parse_xml(f"<DMXChannel {attributes}/>".encode(), "a")) == offsets


def test_breaks_and_addresses_of_references() -> None:
    assert (break_of("2"), break_of(""), break_of("x"), break_of("Overwrite")) == (2, 1, 1, None)
    assert (address_of("17"), address_of("2.1"), address_of(""), address_of("x")) == (17, 513, 1, 1)
