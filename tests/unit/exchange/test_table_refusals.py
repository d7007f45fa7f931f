"""Files that are no paperwork, or broken: a sentence each, never a traceback."""

from __future__ import annotations

import io
import random
import time
import zipfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.errors import FileRefused
from bridge.exchange.found import Found
from bridge.exchange.table import read_table

GOOD = "Name,Channel,Type,Universe,Address,X (m),Y (m),Z (m),Hung,Unit\nfoh-1,101,Spot,1,1,-4,-12,9,hanging,A-1\n"


def zipped() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("xl/workbook.xml", "<workbook/>")
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty file"),
        (b"\xef\xbb\xbf \r\n\n", "empty file"),
        (zipped(), "save it as CSV"),
        (b"\xd0\xcf\x11\xe0" + bytes(500), "spreadsheet"),
        (b"%PDF-1.7 ...", "PDF"),
        (random.Random(1).randbytes(5000), "binary"),
        (GOOD.encode().replace(b"Spot", b"Sp\0t"), "binary"),
        (b"x" * 50_000_000, "larger than 8 MB"),
        (b"Name,Address\n" + b"a" * 7_000_000 + b",1/1\n", "short cells"),
        (b"a" * 7_000_000, "short cells"),
        (b",".join([b"Name"] * 10_000) + b"\n", "10000 columns"),
        (b"Name,Address" + b"," * 900 + b"\n" + (b"," * 900 + b"\n") * 2_000, "more than 1000000 cells"),
        (b"a" * 10_000_000, "larger than 8 MB"),
        (b"Name,Address\n" + b"a,1/1\n" * 30_000, "more than 20000 rows"),
        (b'Name,Address\n"a,1/1\n' + b"b,1/2\n" * 40_000, "quote left open"),
        (b"1,2,3\n4,5,6\n", "heading line"),
        (b"Harbour Hall\nnothing here\n", "heading line"),
        (b"\xff\xfe" + b"\x00\xd8" * 20, "damaged"),
    ],
)
def test_refused_with_a_sentence(data: bytes, words: str) -> None:
    with pytest.raises(FileRefused) as refused:
        read_table(data, "paper.csv")
    assert words in str(refused.value)
    assert str(refused.value).startswith("paper.csv: ")
    assert len(str(refused.value)) < 500


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(FileRefused, match="cannot be read"):
        read_table(tmp_path / "none.csv", "none.csv")
    with pytest.raises(FileRefused, match="cannot be read"):
        read_table(tmp_path, "folder.csv")


@pytest.mark.parametrize(
    ("maps", "words"),
    [
        ({"Type": "profil"}, "nearest is 'profile'"),
        ({"Type": "at.x parsec"}, "one of m, cm, mm, ft, in"),
        ({"Type": "name mm"}, "no unit"),
        ({"Typ": "profile"}, "nearest is 'Type'"),
        ({"": ""}, "allowed is one of name, number"),
    ],
)
def test_wrong_maps(maps: dict[str, str], words: str) -> None:
    with pytest.raises(FileRefused) as refused:
        read_table(GOOD.encode(), "paper.csv", maps)
    assert words in str(refused.value)


ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252"]


@pytest.mark.parametrize("encoding", ENCODINGS)
@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
@pytest.mark.parametrize("line", ["\n", "\r\n", "\r"])
def test_encodings_separators_and_line_ends(encoding: str, separator: str, line: str) -> None:
    text = GOOD.replace("foh-1", "Brücke 1").replace(",", separator).replace("\n", line)
    found = read_table(text.encode(encoding), "paper.csv")
    assert [(f.name, f.number, f.universe, f.address) for f in found.fixtures] == [("Brücke 1", "101", 1, 1)]
    assert found.fixtures[0].at == (-4.0, -12.0, 9.0)
    assert any("Windows-1252" in note for note in found.notes) == (encoding == "cp1252")


def test_rfc_4180() -> None:
    """Section 2: rule 5 (quoted fields), 6 (line breaks, quotes and commas in them), 7 (quotes doubled)."""
    text = 'name,address,type,unit\r\n"aaa",1/1,"b ""bb""","c,\r\ncc"\r\nzzz,1/2,yyy,xxx'
    found = read_table(text.encode(), "rfc.csv")
    assert [(f.name, f.type, f.keys["unit"]) for f in found.fixtures] == [
        ("aaa", 'b "bb"', "c, cc"),
        ("zzz", "yyy", "xxx"),
    ]
    assert found.notes == ()


def test_what_cannot_be_printed_is_taken_out() -> None:
    text = "name,address,type\nfoh\u200b-1,1/1,\x1b[31mred\u00a0spot\n" + "back,2/1,spot\n" * 9
    found = read_table(text.encode(), "paper.csv")
    assert (found.fixtures[0].name, found.fixtures[0].type) == ("foh-1", "[31mred spot")


def test_quotes_that_are_not_of_rfc_4180_are_said() -> None:
    found = read_table(b'name,address,type\na,1/1,"spot"x\nb,1/2,"spot\n', "paper.csv")
    assert any("RFC 4180" in note for note in found.notes)
    assert [f.name for f in found.fixtures] == ["a", "b"]


def test_the_hint_of_spreadsheets() -> None:
    found = read_table(("sep=;\r\n" + GOOD.replace(",", ";")).encode(), "paper.csv")
    assert found.fixtures[0].where == "row 2, foh-1"


def test_500_heads_in_a_second() -> None:
    row = "foh-{0},{0},Spot 540,{1},{2},-4.25,-12.5,9,hanging,A-{0}\n"
    text = GOOD + "".join(row.format(n, 2 + n // 20, 1 + n % 20 * 25) for n in range(500))
    start = time.process_time()
    found = read_table(text.encode(), "paper.csv")
    assert len(found.fixtures) == 501
    assert time.process_time() - start < 1.0


def plain(found: Found) -> None:
    """Everything in it is good to be printed and stored."""
    for fixture in found.fixtures:
        texts = (fixture.name, fixture.number, fixture.type, fixture.mode, fixture.truss, fixture.where)
        assert all(text.isprintable() for text in texts)
        assert fixture.universe is None or 1 <= fixture.universe <= 63_999
        assert fixture.address is None or 1 <= fixture.address <= 512
        assert fixture.at is None or all(-1000 <= value <= 1000 for value in fixture.at)
        assert fixture.hang is None or all(-360 <= value <= 360 for value in fixture.hang)


def why_refused(data: bytes, maps: dict[str, str] | None = None) -> str:
    """The sentence, or "" for a table that is read; whatever it holds is plain then."""
    try:
        found = read_table(data, "paper.csv", maps)
    except FileRefused as refused:
        return str(refused)
    plain(found)
    return ""


@settings(deadline=None, max_examples=400)
@given(st.binary(max_size=300))
def test_any_octets(data: bytes) -> None:
    for start in (b"", GOOD.encode(), b"name;address\n", b"\xff\xfe"):
        assert why_refused(start + data).isprintable()


CELL = st.text("0123456789.,'\"/-+ UAmcinft\u2032=@\0\n;", max_size=10) | st.sampled_from(
    [
        "1e308",
        "nan",
        "inf",
        "-inf",
        "9" * 400,
        "1.10",
        "1.1",
        "U1 A3",
        "10' 6\"",
        "1.250,5",
        "hanging",
        "total",
        "½",
        "१२",
    ]
)


@settings(deadline=None, max_examples=500)
@given(st.lists(st.lists(CELL, min_size=12, max_size=12), max_size=6), st.sampled_from(",;\t"), st.booleans())
def test_any_cells(rows: list[list[str]], separator: str, universe: bool) -> None:
    headings = ["name", "number", "universe" if universe else "gel", "address", "x", "y (ft)", "z [mm]", "yaw", "hung",
                "unit", "lag", "at sigma"]  # fmt: skip
    lines = [headings, *[['"' + cell.replace('"', '""') + '"' for cell in row] for row in rows]]
    why = why_refused("\n".join(separator.join(line) for line in lines).encode())
    assert why == "" or "binary" in why


@settings(deadline=None, max_examples=200)
@given(st.dictionaries(st.text(max_size=8) | st.sampled_from(["Name", "Type"]), st.text(max_size=12), max_size=3))
def test_any_maps(maps: dict[str, str]) -> None:
    assert why_refused(GOOD.encode(), maps).isprintable()
