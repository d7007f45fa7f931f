"""XML of somebody else's as a plain tree that knows its lines and octets: no DTD, no entities, bounded.

Straight on expat and not on a tree of the standard library: those know neither octets nor a bound, and take a DTD.
"""

from __future__ import annotations

import gc
import math
import re
from collections.abc import Collection, Iterator
from xml.parsers import expat

from bridge.errors import FileRefused

MOST_ELEMENTS = 500_000
DEEPEST = 200
LONGEST_TEXT = 100_000
NOTHING: Collection[str] = frozenset()


class Element:
    """`start` and `end`: octets of the document where its start tag and its end tag begin. Names without a prefix."""

    __slots__ = ("attributes", "children", "end", "line", "start", "tag", "text")

    def __init__(self, tag: str, attributes: dict[str, str], line: int, start: int) -> None:
        self.tag, self.attributes, self.line, self.start, self.end = tag, attributes, line, start, start
        self.children: list[Element] = []
        self.text = ""

    def get(self, name: str, otherwise: str = "") -> str:
        """An attribute, blanks around it cut."""
        return self.attributes.get(name, otherwise).strip()

    def number(self, name: str) -> float | None:
        """An attribute as a finite number; None where there is none."""
        return finite(self.get(name))

    def all(self, *tags: str) -> Iterator[Element]:
        """The children of these names, in order."""
        return (child for child in self.children if child.tag in tags)

    def first(self, *tags: str) -> Element | None:
        """The first child of these names."""
        return next(self.all(*tags), None)

    def below(self, *path: str) -> Iterator[Element]:
        """All elements at the end of this way down: `below("DMXModes", "DMXMode")`."""
        if not path:
            yield self
            return
        for child in self.all(path[0]):
            yield from child.below(*path[1:])

    def text_of(self, tag: str) -> str:
        """The text of the first child of this name; "" where there is none."""
        child = self.first(tag)
        return child.text.strip() if child is not None else ""

    def walk(self) -> Iterator[Element]:
        """This element and all in it, in document order."""
        waiting = [self]
        while waiting:
            element = waiting.pop()
            yield element
            waiting += reversed(element.children)


def finite(text: str) -> float | None:
    """A finite number as files write it (a decimal comma too); None for all else."""
    if not re.fullmatch(r"\s*[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?\s*", text, re.ASCII):
        return None
    value = float(text.replace(",", "."))
    return value if math.isfinite(value) else None


def _unpadded(data: bytes) -> bytes:
    """Without the zeros that some programs leave at the end; in UTF-16 one may be half of the last character."""
    bare = data.rstrip(b"\0")
    return data[: len(bare) + 1] if data[:2] in (b"\xff\xfe", b"<\0") and len(bare) % 2 else bare


def parse_xml(data: bytes, what: str, skip: Collection[str] = NOTHING) -> Element:
    """The root of a document; elements named in `skip` are left out with all that is in them.

    Raises FileRefused where it is no well-formed XML, declares a document type, or is too large or deep.
    """
    collecting = gc.isenabled()
    gc.disable()  # there is no circle in a tree, and looking for one at every thousandth element is half of the time
    try:
        return _Reader(what, skip).read(data)
    finally:
        if collecting:
            gc.enable()


class _Reader:
    def __init__(self, what: str, skip: Collection[str]) -> None:
        self._what, self._skip = what, skip
        self._open: list[Element] = []
        self._texts: list[list[str]] = []
        self._root: Element | None = None
        self._skipped = self._count = 0
        self._values: dict[str, str] = {}
        self._parser = parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartElementHandler, parser.EndElementHandler = self._start, self._end
        parser.CharacterDataHandler, parser.StartDoctypeDeclHandler = self._characters, self._doctype

    def read(self, data: bytes) -> Element:
        try:
            self._parser.Parse(_unpadded(data), True)
        except expat.ExpatError as error:
            said = expat.ErrorString(error.code)
            raise FileRefused(f"{self._what}: is not well-formed XML: line {error.lineno}: {said}") from None
        except (LookupError, ValueError, MemoryError) as error:  # an unknown encoding, for one
            raise FileRefused(f"{self._what}: cannot be read as XML: {str(error)[:120]}") from None
        finally:
            self._parser.StartElementHandler = self._parser.EndElementHandler = None  # a circle, else
            self._parser.CharacterDataHandler = self._parser.StartDoctypeDeclHandler = None
        if self._root is None:
            raise FileRefused(f"{self._what}: nothing of use is in it")
        return self._root

    def _start(self, tag: str, attributes: dict[str, str]) -> None:
        self._count += 1
        tag = tag.rpartition(":")[2]
        if self._skipped or tag in self._skip:
            self._skipped += 1
            if self._skipped > DEEPEST:
                raise FileRefused(f"{self._what}: is nested more than {DEEPEST} deep: not read")
            return
        if self._count > MOST_ELEMENTS or len(self._open) >= DEEPEST:
            said = f"is nested more than {DEEPEST} deep" if len(self._open) >= DEEPEST else "is too large"
            raise FileRefused(f"{self._what}: {said}: not read")
        parser, known = self._parser, self._values.setdefault
        shared = {name: known(value, value) for name, value in attributes.items()}  # most stand a thousand times
        element = Element(tag, shared, parser.CurrentLineNumber, parser.CurrentByteIndex)
        if self._open:
            self._open[-1].children.append(element)
        else:
            self._root = element
        self._open.append(element)
        self._texts.append([])

    def _end(self, _tag: str) -> None:
        if self._skipped:
            self._skipped -= 1
            return
        element = self._open.pop()
        element.end = self._parser.CurrentByteIndex
        element.text = "".join(self._texts.pop())[:LONGEST_TEXT]

    def _characters(self, text: str) -> None:
        if not self._skipped and self._texts:
            self._texts[-1].append(text)

    def _doctype(self, *_: object) -> None:
        raise FileRefused(f"{self._what}: declares a document type (DTD), which no such file needs: not read")
