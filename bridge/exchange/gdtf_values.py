"""Values of DMX as a GDTF file writes them (DIN SPEC 15800), scaled to the channel that they are for."""

from __future__ import annotations

import re

from bridge.exchange.xml_tree import Element

MOST_BYTES = 8
LAST_SLOT = 512
_VALUE = re.compile(r"(\d{1,20})(?:\s*/\s*(\d)\s*(s?))?", re.ASCII)
_OLD_OFFSETS = ("Coarse", "Fine", "Ultra", "Uber")


def full_scale(size: int) -> int:
    """The largest raw value of so many bytes."""
    return int(256**size - 1)


def dmx_value(text: str, size: int) -> int | None:
    """`v/n`, `v/ns` or `v` as a raw value of `size` bytes; None where it is none, or does not fit its own n bytes.

    More bytes than n: by mirroring (128/1 on two bytes is 32896), with `s` by shifting (32768). Fewer: the coarse ones.
    A bare number is one of n = 1, or of as many bytes as it needs.
    """
    found = _VALUE.fullmatch(text.strip())
    if found is None:
        return None
    value = int(found[1])
    count = int(found[2]) if found[2] else max(1, (value.bit_length() + 7) // 8)
    if not 1 <= count <= MOST_BYTES or value > full_scale(count):
        return None
    if count >= size:
        return value >> 8 * (count - size)
    if found[3]:
        return value << 8 * (size - count)
    octets = value.to_bytes(count, "big")
    return int.from_bytes((octets * size)[:size], "big")


def bytes_of(raw: int, size: int) -> tuple[int, ...]:
    """A raw value as bytes, coarse first."""
    return tuple(max(0, min(raw, full_scale(size))).to_bytes(size, "big"))


def offsets_of(channel: Element) -> tuple[int, ...] | None:
    """Offsets of a DMXChannel, coarse first; () for a virtual channel, None where they are broken.

    Files of the first version have them in `Coarse`, `Fine`, `Ultra`, `Uber`, where 0 and -1 are none.
    """
    if "Offset" in channel.attributes:
        texts = [text.strip() for text in channel.get("Offset").split(",")]
    else:
        texts = [text for name in _OLD_OFFSETS if (text := channel.get(name)) not in ("0", "-1")]
    texts = [text for text in texts if text.casefold() not in ("", "none")]
    if not all(re.fullmatch(r"\d{1,6}", text, re.ASCII) for text in texts):
        return None
    offsets = tuple(map(int, texts))
    if 0 in offsets or len(set(offsets)) < len(offsets) or len(offsets) > MOST_BYTES:
        return None
    return offsets


def break_of(text: str) -> int | None:
    """A DMXBreak: its number from 1, None for `Overwrite`. What is missing or broken is 1, as the standard has it."""
    if text.casefold() == "overwrite":
        return None
    return int(text) if re.fullmatch(r"[1-9]\d{0,3}", text, re.ASCII) else 1


def address_of(text: str) -> int:
    """A DMXOffset: `A` or `U.A`, from 1; 1 where it is missing or broken."""
    found = re.fullmatch(r"(?:(\d{1,5})\.)?(\d{1,6})", text, re.ASCII)
    if found is None:
        return 1
    return max(0, int(found[1] or 1) - 1) * LAST_SLOT + max(1, int(found[2]))
