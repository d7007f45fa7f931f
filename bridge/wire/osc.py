"""OSC 1.0: datagrams to messages and back.

`decode` walks a datagram itself and checks every length, every padding octet and every count before
python-osc's type readers read the values. The library's own parser and servers stay out of the way of the
loop: they loop for ever on an element size of -4, sleep on a time tag in the future, read a missing float as
0.0, let NaN pass and shift arguments after an unknown tag (facts/protocols.md).

Decisions, each made once here:

- **Time tags are ignored: every message is obeyed at once.** The newest observation is what a follow spot
  needs. A time tag in the future must never sleep in the loop, and a queue of messages for later would let
  any sender fill memory and move heads long after it went away.
- **A bundle is obeyed whole or not at all.** OSC 1.0 calls it atomic, and once one length is wrong none that
  follow can be trusted. Only an unrecognised type tag discards the one message that carries it, as OSC 1.0
  asks, and only for a caller that gives `discarded` to collect the reason; without it the whole datagram is
  refused.
- **Address patterns are refused, not matched**: an address full of `*` takes a matcher seconds, and one
  datagram that moves every head at once is not wanted. A caller may have such messages left out instead.
- A message may lack its type tag string when nothing follows the address (older senders do): no arguments.
"""

from __future__ import annotations

import math
import re
import struct
from collections.abc import Callable
from dataclasses import dataclass

from pythonosc.parsing import osc_types

from bridge.errors import Refused

Argument = int | float | str | bool | bytes | None
_Left = dict[str, list["OscError"]]  # where the errors of messages that are left out go, by reason

MAX_DATAGRAM = 8192
"""Octets. Far above any message of ours, and small: the worst datagram found (all blobs) takes 1.4 ms to decode."""
MAX_ELEMENTS = 256
MAX_DEPTH = 8
MAX_ARGUMENTS = 64
MAX_STRING = 255

_BUNDLE = b"#bundle\0"
_NOW = b"\0\0\0\0\0\0\0\1"
_PADDING = (b"", b"\0", b"\0\0", b"\0\0\0")
_PLAIN_ADDRESS = re.compile(rb"/[!-~]*")
_PATTERN = re.compile(rb"[ #*,?\[\]{}]")
_SIZES = {"i": 4, "f": 4, "h": 8, "d": 8}
_VALUES: dict[str, bool | None] = {"T": True, "F": False, "N": None}
# A blob is a plain slice once the walk has measured it; the library's reader would copy the rest of the message.
_READERS: dict[str, Callable[[bytes, int], tuple[Argument, int]]] = {
    "i": osc_types.get_int,
    "h": osc_types.get_int64,
    "f": osc_types.get_float,
    "d": osc_types.get_double,
    "s": osc_types.get_string,
    "S": osc_types.get_string,
    "b": lambda data, at: (data[at + 4 : at + 4 + int.from_bytes(data[at : at + 4], "big")], 0),
}


class OscError(Refused):
    """One datagram is not obeyed.

    Reasons: malformed, oversized, address, pattern, unknown-type, not-finite. `address` where only a value is wrong.
    """

    def __init__(self, reason: str, text: str, address: str = "") -> None:
        super().__init__(reason, text)
        self.address = address


@dataclass(frozen=True, slots=True)
class OscMessage:
    """One OSC message: a plain address (never a pattern) and its arguments, all finite."""

    address: str
    args: tuple[Argument, ...] = ()


def decode(datagram: bytes, discarded: list[OscError] | None = None, patterns: bool = False) -> list[OscMessage]:
    """All messages of one datagram, bundles flattened, in order; an empty bundle gives none.

    With `discarded`, messages with an unrecognised type tag, and those to a pattern if `patterns`, are left out and
    their errors appended to it. Anything else that is wrong raises OscError: the datagram then changes nothing.
    """
    if len(datagram) > MAX_DATAGRAM:
        raise OscError("oversized", f"OSC datagram of {len(datagram)} octets, at most {MAX_DATAGRAM}")
    messages: list[OscMessage] = []
    left = {} if discarded is None else dict.fromkeys(("unknown-type", "pattern")[: 1 + patterns], discarded)
    if datagram.startswith(b"/"):
        _message(datagram, messages, left)
    else:
        _bundle(datagram, messages, left, 1, 0)
    return messages


def _bundle(data: bytes, messages: list[OscMessage], left: _Left, depth: int, elements: int) -> int:
    """Walk one bundle; returns how many elements the datagram has held so far."""
    if not data.startswith(_BUNDLE):
        raise OscError("malformed", f"OSC expects '/' or '#bundle' first, found {data[:8]!r}")
    if len(data) < 16 or len(data) % 4:
        raise OscError("malformed", f"OSC bundle of {len(data)} octets, expected a multiple of 4, at least 16")
    if depth > MAX_DEPTH:
        raise OscError("oversized", f"OSC bundles nested more than {MAX_DEPTH} deep")
    at = 16
    while at < len(data):
        size, _ = osc_types.get_int(data[at : at + 4], 0)
        start, at = at + 4, at + 4 + size
        if size <= 0 or size % 4 or at > len(data):
            most = len(data) - start
            raise OscError("malformed", f"OSC element size {size}, expected a multiple of 4 from 4 to {most}")
        elements += 1
        if elements > MAX_ELEMENTS:
            raise OscError("oversized", f"OSC bundle of more than {MAX_ELEMENTS} elements")
        if data[start] == 0x2F:
            _message(data[start:at], messages, left)
        else:
            elements = _bundle(data[start:at], messages, left, depth + 1, elements)
    return elements


def _message(data: bytes, messages: list[OscMessage], left: _Left) -> None:
    try:
        messages.append(_whole(data))
    except OscError as error:
        if error.reason not in left:
            raise
        left[error.reason].append(error.with_traceback(None))  # which would hold this frame, and so itself, in a ring


def _whole(data: bytes) -> OscMessage:
    end, at = _string(data, 0)
    raw = data[:end]
    if _PLAIN_ADDRESS.fullmatch(raw) is None or _PATTERN.search(raw) is not None:
        raise _address_error(raw)
    address = raw.decode("ascii")
    if at == len(data):
        return OscMessage(address)
    end, first = _string(data, at)
    if data[at] != 0x2C:
        raise OscError("malformed", f"OSC type tags of {address}: expected ',' first, found {data[at:end][:8]!r}")
    tags = data[at + 1 : end].decode("latin-1")
    if len(tags) > MAX_ARGUMENTS:
        raise OscError("oversized", f"OSC message {address}: {len(tags)} arguments, at most {MAX_ARGUMENTS}")
    return OscMessage(address, _arguments(data, first, tags, address))


def _arguments(data: bytes, at: int, tags: str, address: str) -> tuple[Argument, ...]:
    """Each value is checked to lie whole inside the message before the library's reader may have it."""
    values: list[Argument] = []
    for tag in tags:
        size = _SIZES.get(tag)
        if size is not None:
            end = at + size
            if end > len(data):
                raise OscError("malformed", f"OSC message {address} ends before its argument of type '{tag}'")
        elif tag in _VALUES:
            values.append(_VALUES[tag])
            continue
        elif tag in "sS":
            end = _string(data, at)[1]
        elif tag == "b":
            end = _blob(data, at, address)
        else:
            raise OscError("unknown-type", f"OSC message {address} has an argument of unknown type {tag!r}", address)
        values.append(_value(data, at, tag, address))
        at = end
    if at != len(data):
        raise OscError("malformed", f"OSC message {address}: {len(data) - at} octets beyond its type tags")
    return tuple(values)


def _value(data: bytes, at: int, tag: str, address: str) -> Argument:
    try:
        value = _READERS[tag](data, at)[0]
    except (osc_types.ParseError, ValueError) as error:  # ValueError: text that is not UTF-8
        raise OscError("malformed", f"OSC message {address}, type '{tag}': {error}") from None
    if isinstance(value, float) and not math.isfinite(value):
        raise OscError("not-finite", f"OSC message {address} carries {value}, expected a finite number", address)
    return value


def _string(data: bytes, at: int) -> tuple[int, int]:
    """(end of the text, end of its padding) of the OSC string at `at`; 1 to 4 NULs to a multiple of 4."""
    end = data.find(b"\0", at)
    if end < 0:
        raise OscError("malformed", "OSC string without its closing NUL")
    if end - at > MAX_STRING:
        raise OscError("oversized", f"OSC string of {end - at} octets, at most {MAX_STRING} are taken")
    after = (end | 3) + 1  # strings begin at multiples of 4, so the next multiple ends the padding
    if data[end + 1 : after] != _PADDING[after - end - 1]:
        raise OscError("malformed", "OSC string expected to be padded with NULs to a multiple of 4 octets")
    return end, after


def _blob(data: bytes, at: int, address: str) -> int:
    """Where the padding of the blob at `at` ends."""
    size = int.from_bytes(data[at : at + 4], "big", signed=True)
    end = at + 4 + size
    after = (end + 3) & ~3
    if at + 4 > len(data) or size < 0 or after > len(data) or data[end:after] != _PADDING[after - end]:
        raise OscError("malformed", f"OSC message {address}: blob of {size} octets, too short or not padded")
    return after


def _address_error(raw: bytes) -> OscError:
    shown = raw[:40].decode("ascii", "backslashreplace")
    if _PATTERN.search(raw):
        return OscError("pattern", f"OSC address {shown!r}: a pattern, expected one plain address")
    return OscError("address", f"OSC address {shown!r}: expected printable ASCII")


def encode(address: str, *args: Argument) -> bytes:
    """One message: float -> f, int -> i (h beyond 32 bits), str -> s, bytes -> b, True/False/None -> T/F/N.

    Raises ValueError for what OSC cannot carry: it is our own mistake, never a user's.
    """
    tags, values = [","], []
    for value in args:
        tag, octets = _encoded(value)
        tags.append(tag)
        values.append(octets)
    return _padded(address.encode("ascii")) + _padded("".join(tags).encode("ascii")) + b"".join(values)


def _encoded(value: Argument) -> tuple[str, bytes]:
    if value is None or isinstance(value, bool):
        return ("N" if value is None else "T" if value else "F"), b""
    if isinstance(value, int):
        if -(1 << 31) <= value < 1 << 31:
            return "i", struct.pack(">i", value)
        if -(1 << 63) <= value < 1 << 63:
            return "h", struct.pack(">q", value)
        raise ValueError(f"OSC cannot carry the integer {value}: more than 64 bits")
    if isinstance(value, float):
        return "f", struct.pack(">f", value)
    if isinstance(value, str):
        return "s", _padded(value.encode("utf-8"))
    return "b", struct.pack(">i", len(value)) + value + _PADDING[-len(value) % 4]


def _padded(text: bytes) -> bytes:
    if b"\0" in text:
        raise ValueError(f"OSC strings cannot hold a NUL: {text!r}")
    return text + b"\0" * (4 - len(text) % 4)


def encode_bundle(messages: list[bytes]) -> bytes:
    """One bundle, time tag 1 (now), of encoded messages or bundles."""
    return _BUNDLE + _NOW + b"".join(struct.pack(">i", len(m)) + m for m in messages)
