"""`description.xml` in two steps: all of it without the sets of channels, and one mode with everything.

Files have thirty modes and more, each with thousands of sets, and one is wanted: the rest is never held in memory.
"""

from __future__ import annotations

import re

from bridge.errors import FileRefused
from bridge.exchange.xml_tree import Element, parse_xml

UNREAD = frozenset({"Revisions", "FTPresets", "FTMacros", "Macros", "Filters", "Emitters", "CRIs", "ThumbnailOffset"})
"""Parts that say nothing of bytes, axes or beams, and may be large."""
SETS = frozenset({"ChannelSet", "SubChannelSet"})
_PROLOG = re.compile(rb"\s*<\?xml[^>]*\?>")


def without_sets(data: bytes, what: str) -> Element:
    """The FixtureType of a description. Raises FileRefused."""
    root = parse_xml(data, what, UNREAD | SETS)
    element = root if root.tag == "FixtureType" else root.first("FixtureType")
    if element is None:
        raise FileRefused(f"{what}: found '{root.tag[:40]}', expected a 'GDTF' with a 'FixtureType' in it")
    return element


def whole_mode(data: bytes, mode: Element, what: str) -> Element:
    """A DMXMode of `without_sets` with its sets. Raises FileRefused."""
    if not mode.children:
        return mode
    if data[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\0" in data[:64]:  # two octets a letter: read all of it again
        root = parse_xml(data, what, UNREAD)
        return next((each for each in root.walk() if each.start == mode.start and each.tag == "DMXMode"), mode)
    prolog = _PROLOG.match(data.removeprefix(b"\xef\xbb\xbf"))
    end = data.find(b">", mode.end) + 1
    return parse_xml((prolog[0] if prolog else b"") + data[mode.start : end], what, UNREAD)
