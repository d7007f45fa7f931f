"""One member of somebody's ZIP replaced: zipfile (the reference) finds all others as they were, octet by octet."""

from __future__ import annotations

import io
import struct
import zipfile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.errors import FileRefused
from bridge.exchange.zip_edit import with_member

METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2)
MEMBER = st.tuples(st.binary(max_size=300), st.sampled_from(METHODS), st.binary(max_size=20), st.booleans())
NAMES = ["a.xml", "Wände/é.gdtf", "b", "c.3ds"]


class Pipe(io.BytesIO):
    """A file that cannot be wound back: zipfile then writes sizes behind the data, in descriptors."""

    def seekable(self) -> bool:
        return False

    def seek(self, *_: int) -> int:
        raise io.UnsupportedOperation

    def tell(self) -> int:
        raise io.UnsupportedOperation


def archive_of(members: dict[str, tuple[bytes, int, bytes, bool]], comment: bytes, piped: bool) -> bytes:
    out = Pipe() if piped else io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.comment = comment
        for number, (name, (data, method, comment_of_it, extra)) in enumerate(members.items()):
            info = zipfile.ZipInfo(name, (2001 + number, 2, 3, 4, 5, 6))
            info.compress_type, info.comment, info.external_attr = method, comment_of_it, 0o640 << 16
            info.extra = b"\x34\x12\x03\x00abc" if extra else b""
            archive.writestr(info, data)
    return out.getvalue()


def raw(octets: bytes, info: zipfile.ZipInfo) -> bytes:
    """A member's own entry as it stands: head, name, extra field, packed data."""
    name, extra = struct.unpack_from("<2H", octets, info.header_offset + 26)
    return octets[info.header_offset :][: 30 + name + extra + info.compress_size]


def about(info: zipfile.ZipInfo) -> tuple[object, ...]:
    return (
        info.filename, info.date_time, info.comment, info.extra, info.external_attr, info.create_system,
        info.compress_type, info.create_version, info.internal_attr,
    )  # fmt: skip


@settings(deadline=None)
@given(
    st.lists(MEMBER, min_size=4, max_size=4),
    st.sampled_from(NAMES),
    st.binary(max_size=400),
    st.binary(max_size=30).filter(lambda comment: b"PK" not in comment),
    st.binary(max_size=40).filter(lambda before: b"PK" not in before),
    st.booleans(),
)
def test_all_others_stay_as_they_were(
    members: list[tuple[bytes, int, bytes, bool]], name: str, new: bytes, comment: bytes, before: bytes, piped: bool
) -> None:
    old = before + archive_of(dict(zip(NAMES, members, strict=True)), comment, piped)
    octets = with_member(old, name, new, "old.mvr")
    was, now = zipfile.ZipFile(io.BytesIO(old)), zipfile.ZipFile(io.BytesIO(octets))
    assert now.testzip() is None
    assert now.read(name) == new
    assert (now.comment, octets[: len(before)]) == (comment, before)
    assert now.namelist() == was.namelist()
    for one, other in zip(was.infolist(), now.infolist(), strict=True):
        if one.filename != name:
            assert raw(octets, other) == raw(old, one)
            assert (*about(other), other.flag_bits) == (*about(one), one.flag_bits)
        elif one.compress_type != zipfile.ZIP_BZIP2:
            assert about(other) == about(one)
    assert octets == with_member(octets, name, new, "old.mvr"), "twice is once"


def test_of_two_members_with_one_name_the_last_is_replaced_as_readers_take_it() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("a.xml", b"first")
        with pytest.warns(UserWarning, match="Duplicate"):
            archive.writestr("a.xml", b"second")
    octets = with_member(out.getvalue(), "a.xml", b"third", "old.mvr")
    now = zipfile.ZipFile(io.BytesIO(octets))
    assert [now.read(info) for info in now.infolist()] == [b"first", b"third"]


@settings(deadline=None)
@given(st.data())
def test_damaged_archives_are_refused_or_edited_never_a_traceback(data: st.DataObject) -> None:
    octets = bytearray(archive_of({"a.xml": (b"<a/>", 8, b"", True), "b": (b"b" * 99, 0, b"", False)}, b"x", False))
    for _ in range(data.draw(st.integers(1, 4))):
        octets[data.draw(st.integers(0, len(octets) - 1))] = data.draw(st.integers(0, 255))
    cut = bytes(octets[: data.draw(st.integers(0, len(octets)))] if data.draw(st.booleans()) else octets)
    try:
        with_member(cut, "a.xml", b"<new/>", "old.mvr")
    except FileRefused as refused:
        said = str(refused)
    else:
        said = "old.mvr: "
    assert said.startswith("old.mvr: ")


@pytest.mark.parametrize(
    ("at", "value", "why"),
    [
        (10, b"\xff" * 4, "ZIP64"),
        (4, b"\1\0", "several"),
        (16, b"\xff" * 4, "ZIP64"),
        (0, b"XX", "end"),
    ],
)
def test_each_reason_to_refuse(at: int, value: bytes, why: str) -> None:
    octets = bytearray(archive_of({"a.xml": (b"<a/>", 8, b"", False)}, b"", False))
    end = len(octets) - 22
    if at == 10:  # both counts of entries
        octets[end + 8 : end + 12] = value
    else:
        octets[end + at : end + at + len(value)] = value
    with pytest.raises(FileRefused, match=why):
        with_member(bytes(octets), "a.xml", b"", "old.mvr")


def test_what_lies_between_entries_stays_and_entries_that_share_octets_are_refused() -> None:
    octets = archive_of({"a.xml": (b"<a/>", 0, b"", False), "b": (b"b" * 99, 0, b"", False)}, b"", False)
    second = octets.rindex(b"PK\3\4")
    padded = bytearray(octets[:second] + b"padding" + octets[second:])
    row = padded.rindex(b"PK\1\2")
    struct.pack_into("<I", padded, row + 42, second + 7)
    struct.pack_into("<I", padded, len(padded) - 6, padded.index(b"PK\1\2"))
    found = with_member(bytes(padded), "a.xml", b"<longer/>", "old.mvr")
    assert zipfile.ZipFile(io.BytesIO(found)).read("b") == b"b" * 99
    assert b"<longer/>padding" in found
    for offset in (second - 2, 0):
        struct.pack_into("<I", padded, row + 42, offset)
        with pytest.raises(FileRefused, match="overlap"):
            with_member(bytes(padded), "a.xml", b"<longer/>", "old.mvr")
