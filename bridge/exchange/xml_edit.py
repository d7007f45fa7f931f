"""Texts put into somebody's XML without touching any other octet of it."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterable
from typing import NamedTuple

from bridge.errors import FileRefused
from bridge.exchange.xml_tree import Element

_START_TAG = re.compile(r"<([^\s/>]+)(?:[^>\"']|\"[^\"]*\"|'[^']*')*>")
_BLANKS = re.compile(r"\s*")


class Edit(NamedTuple):
    """Octets start to end are to become `data`."""

    start: int
    end: int
    data: bytes


class Editor:
    """Edits one document, `data` as it was parsed. `what` is the file in messages."""

    def __init__(self, data: bytes, what: str) -> None:
        self._data, self._what = data, what
        self._encoding = _encoding_of(data)

    def text(self, element: Element, text: str) -> Edit:
        """An element's whole content replaced by this text (ASCII); blanks around the old one stay."""
        name, end, empty = self._tag(element)
        if empty:
            opened = self._tag_text(element)[:-2].rstrip() + f">{text}</{name}>"
            return Edit(element.start, end, self._octets(opened))
        old = self._decoded(end, element.end)
        blanks = [_BLANKS.match(old).group(), _BLANKS.match(old[::-1]).group()[::-1]]  # type: ignore[union-attr]
        if not old.strip():
            blanks = ["", ""]
        return Edit(end, element.end, self._octets(blanks[0] + text + blanks[1]))

    def first_child(self, element: Element, tag: str, text: str) -> Edit:
        """A new child before all others, in the element's own prefix."""
        name, end, empty = self._tag(element)
        prefix = name.rpartition(":")[0]
        tag = f"{prefix}:{tag}" if prefix else tag
        child = f"<{tag}>{text}</{tag}>"
        if not empty:
            return Edit(end, end, self._octets(child))
        return Edit(element.start, end, self._octets(self._tag_text(element)[:-2].rstrip() + f">{child}</{name}>"))

    def done(self, edits: Iterable[Edit]) -> bytes:
        """The document with all edits made. They must not overlap."""
        out, at = [], 0
        for start, end, data in sorted(edits):
            if start < at:
                raise FileRefused(f"{self._what}: two changes meet at octet {start}: nothing written")
            out += [self._data[at:start], data]
            at = end
        return b"".join([*out, self._data[at:]])

    def _tag(self, element: Element) -> tuple[str, int, bool]:
        """The start tag's name as written, the octet behind it, and whether it is empty (`<a/>`)."""
        text = self._tag_text(element)
        name = text[1:].split(">")[0].split("/")[0].split()[0]
        return name, element.start + len(self._octets(text)), text.endswith("/>")

    def _tag_text(self, element: Element) -> str:
        found = _START_TAG.match(self._decoded(element.start, element.end))  # the end of an empty one is behind its tag
        if not found:
            raise FileRefused(f"{self._what}: line {element.line}: <{element.tag}> cannot be found again in the file")
        return found.group()

    def _decoded(self, start: int, end: int) -> str:
        return self._data[start:end].decode(self._encoding, "surrogateescape")

    def _octets(self, text: str) -> bytes:
        return text.encode(self._encoding, "surrogateescape")


def _encoding_of(data: bytes) -> str:
    """How to take octets apart without loss: 16 bits by the mark or the first characters, else one for each octet.

    All other encodings that the parser knows hold ASCII as ASCII, so tags are found in them octet by octet.
    """
    for mark, name in ((codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be")):
        if data.startswith(mark):
            return name
    if data.startswith(b"<\0"):
        return "utf-16-le"
    return "utf-16-be" if data.startswith(b"\0<") else "latin-1"
