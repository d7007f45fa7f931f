"""The cells of a text table of unknown encoding and separator. Quoting is RFC 4180, read by Python's csv module."""

from __future__ import annotations

import codecs
import csv
import io
import re
import unicodedata
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

from bridge.errors import FileRefused
from bridge.exchange.table_said import Said

MOST_OCTETS = 8_000_000
MOST_ROWS = 20_000
MOST_COLUMNS = 1_000
MOST_CELLS = 1_000_000
LOOKED_AT = 200  # rows in which the heading line is looked for
_SEPARATORS = ",;\t|"
_MAGIC = {
    b"PK": "this is a spreadsheet file or a ZIP archive; save it as CSV",
    b"\xd0\xcf\x11\xe0": "this is a spreadsheet file; save it as CSV",
    b"%PDF": "this is a PDF; CSV is needed",
    b"{\\rtf": "this is a text document; save it as CSV",
}
_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
Row = list[str]


class Rows(NamedTuple):
    """Cells by rows as a spreadsheet counts them (the first is row 1), blank ones included; how they were apart."""

    rows: list[Row]
    separator: str


def read_rows(source: Path | bytes, what: str, score: Callable[[Sequence[str]], int], said: Said) -> Rows:
    """All cells, blanks around them taken off. `score` tells how much a row looks like the heading line.

    Raises FileRefused for what is no text table, or too large a one.
    """
    text = _decoded(_octets(source, what), what, said)
    separator = ""
    if match := re.match(r"(?:\"?sep=(.)\"?)\r?\n", text):  # the hint of spreadsheets, which they do not count as a row
        separator, text = match.group(1), text[match.end() :]
    if not text.strip():
        raise FileRefused(f"{what}: expected a table with a heading line, found an empty file")
    return _rows(text, separator or _separator(text, what, score), what, said)


def _octets(source: Path | bytes, what: str) -> bytes:
    if isinstance(source, bytes):
        data = source[: MOST_OCTETS + 1]
    else:
        try:
            with source.open("rb") as stream:
                data = stream.read(MOST_OCTETS + 1)
        except OSError as error:
            raise FileRefused(f"{what}: cannot be read: {error.strerror or error}") from None
    if len(data) > MOST_OCTETS:
        raise FileRefused(f"{what}: larger than {MOST_OCTETS // 1_000_000} MB: paperwork is not; is it the right file?")
    return data


def _decoded(data: bytes, what: str, said: Said) -> str:
    for magic, why in _MAGIC.items():
        if data.startswith(magic):
            raise FileRefused(f"{what}: {why}")
    encoding = next((name for bom, name in _BOMS if data.startswith(bom)), None) or _without_bom(data)
    try:
        text = data.decode(encoding)
    except UnicodeError:
        if encoding != "utf-8":
            raise FileRefused(f"{what}: begins as {encoding} text and then is none: damaged?") from None
        text = data.decode("cp1252", errors="replace")
        said.note("the file is not UTF-8: read as Windows-1252; look whether letters such as é and ü are right")
    strange = sum(text.count(chr(code)) for code in (*range(9), 11, 12, *range(14, 32)))
    if "\0" in text or strange > len(text) / 100:
        raise FileRefused(f"{what}: expected a text table (CSV), found binary data; save it as CSV")
    return text.removeprefix("\ufeff")


def _without_bom(data: bytes) -> str:
    """UTF-16 of mostly Latin letters has a zero in every second octet."""
    sample = data[:2000]
    if len(sample) >= 8 and len(sample) % 2 == 0:
        for start, name in ((1, "utf-16-le"), (0, "utf-16-be")):
            if sample[start::2].count(0) > len(sample) * 0.35 and sample[1 - start :: 2].count(0) == 0:
                return name
    return "utf-8"


def _separator(text: str, what: str, score: Callable[[Sequence[str]], int]) -> str:
    """The one that gives the best heading line, then the one that most rows agree on."""
    head = text[:200_000]

    def worth(separator: str) -> tuple[int, int]:
        rows = []
        try:
            for row in csv.reader(io.StringIO(head, newline=""), delimiter=separator):
                rows.append(row[:MOST_COLUMNS])
                if len(rows) >= LOOKED_AT:
                    break
        except csv.Error:
            pass
        widths = [len(row) for row in rows if len(row) > 1]
        same = max((widths.count(width) * min(width, 3) for width in set(widths)), default=0)
        return max((score(row) for row in rows), default=0), same

    return max(_SEPARATORS, key=worth)


def _rows(text: str, separator: str, what: str, said: Said) -> Rows:
    try:
        return Rows(list(_read(text, separator, what, strict=True)), separator)
    except csv.Error as error:
        said.note(f"the quotes in the file are not as RFC 4180 has them ({error}): see that no row is missing")
    try:
        rows = list(_read(text, separator, what, strict=False))
    except csv.Error as error:
        raise FileRefused(
            f"{what}: expected a table of short cells, found none ({error}); is a quote left open?"
        ) from None
    return Rows(rows, separator)


def _read(text: str, separator: str, what: str, strict: bool) -> Iterator[Row]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=strict)
    cells = 0
    for number, row in enumerate(reader, 1):
        if number > MOST_ROWS:
            raise FileRefused(f"{what}: more than {MOST_ROWS} rows: no paperwork of heads; is it the right file?")
        if len(row) > MOST_COLUMNS:
            raise FileRefused(f"{what}: row {number} has {len(row)} columns, allowed are {MOST_COLUMNS}")
        cells += len(row)
        if cells > MOST_CELLS:
            raise FileRefused(f"{what}: more than {MOST_CELLS} cells: no paperwork of heads; is it the right file?")
        yield [_stripped(cell) for cell in row]


def _in_place_of(char: str) -> str:
    """A blank for other blanks and controls, nothing for marks without width."""
    return " " if unicodedata.category(char) in ("Zs", "Zl", "Zp", "Cc") else ""


def _stripped(cell: str) -> str:
    """One printable line without blanks around it, and without the ' that keeps a spreadsheet from reckoning."""
    if not cell or (cell.isalnum() and cell.isascii()):
        return cell
    if not cell.isprintable():
        cell = re.sub(r"[\r\n\t]+", " ", cell)
        cell = "".join(char if char.isprintable() else _in_place_of(char) for char in cell)
    plain = cell.strip()
    return plain[1:] if re.match(r"'+[-=+@]", plain) else plain
