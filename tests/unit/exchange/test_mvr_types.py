"""The GDTF files inside an MVR: found by names as scenes write them, read once, asked for where they are missing."""

from __future__ import annotations

import pytest

from bridge.exchange import mvr_types
from bridge.exchange.found import Found
from bridge.exchange.mvr import read_mvr
from tests.unit.exchange.made_mvr import NO_HEAD, SPOT, SPOT_CHANNELS, fixture, gdtf, layer, mvr


def found_with(members: dict[str, bytes], inner: str, mode: str | None = None) -> Found:
    return read_mvr(mvr(layer(inner), members), "plot.mvr", mode)


@pytest.mark.parametrize(
    ("member", "spec"),
    [
        (SPOT, SPOT),
        (SPOT, "Harbour Works@Spot 300"),
        (SPOT, " harbour works@spot 300.GDTF "),
        (SPOT, "Harbour Works@Spot  300 .gdtf"),
        ("Harbour Works@Spot 300.GDTF", SPOT),
        ("gdtf/Harbour Works@Spot 300.gdtf", SPOT),
        (SPOT, "C:\\Library\\Harbour Works@Spot 300.gdtf"),
        ("Hafen@Bu\u0308hne.gdtf", "Hafen@B\u00fchne.gdtf"),  # composed or not
        ("Hafen@Bühne.gdtf".encode().decode("cp437"), "Hafen@Bühne.gdtf"),  # UTF-8 that is not marked so
    ],
)
def test_a_type_is_found_however_its_name_is_spelled(member: str, spec: str) -> None:
    found = found_with({member: gdtf()}, fixture(spec=spec))
    assert found.fixtures[0].profile is not None
    assert not found.asks


def test_of_files_alike_the_one_of_exactly_this_name_counts() -> None:
    members = {"a@b.gdtf": gdtf({"One": SPOT_CHANNELS}), "A@B.gdtf": gdtf({"Two": SPOT_CHANNELS})}
    assert found_with(members, fixture(spec="A@B.gdtf", mode="Two")).profiles[0].mode == "Two"
    assert found_with(members, fixture(spec="A@B", mode="Two")).profiles[0].mode == "Two"
    assert [ask.key for ask in found_with(members, fixture(spec="A@b", mode="Two")).asks] == ["profile"]


def test_a_type_that_is_missing_is_asked_for_once_and_said_of_each_mode() -> None:
    heads = fixture(1, mode="A") + fixture(2, mode="B") + fixture(3, mode="A")
    found = found_with({}, heads)
    assert [(head.profile, head.type, head.mode) for head in found.fixtures] == [
        (None, "Harbour Works@Spot 300", "A"),
        (None, "Harbour Works@Spot 300", "B"),
        (None, "Harbour Works@Spot 300", "A"),
    ]
    (ask,) = found.asks
    assert (ask.key, ask.about) == ("profile", "Harbour Works@Spot 300")
    assert len(found.questions) == 2 + 1  # each mode; and all at one place
    assert found.questions[0].startswith("Spot 1 (101), Spot 3 (103): no GDTF file of type 'Harbour Works@Spot 300'")
    assert found.fixtures[0].at == (0, 0, 0)


def test_heads_without_a_type_are_asked_for() -> None:
    found = found_with({SPOT: gdtf()}, fixture(1, spec="") + fixture(2))
    assert [head.profile is None for head in found.fixtures] == [True, False]
    assert [(ask.key, ask.about) for ask in found.asks] == [("profile", "")]
    assert "no type is given" in found.asks[0].text


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04 broken", mvr("")])
def test_a_broken_type_is_said_once_and_the_rest_is_read(data: bytes) -> None:
    found = found_with({SPOT: data, "x@y.gdtf": gdtf()}, fixture(1) + fixture(2) + fixture(3, spec="x@y"))
    assert [head.profile is None for head in found.fixtures] == [True, True, False]
    assert len(found.asks) == 1
    assert len([each for each in found.questions if "cannot be read" in each]) == 1


TWO_MODES = {"Basic": SPOT_CHANNELS, "Extended": SPOT_CHANNELS}


@pytest.mark.parametrize("mode", ["Extended", " extended ", "EXTENDED"])
def test_the_mode_is_the_one_of_the_fixture(mode: str) -> None:
    found = found_with({SPOT: gdtf(TWO_MODES)}, fixture(mode=mode))
    assert [profile.mode for profile in found.profiles] == ["Extended"]


@pytest.mark.parametrize("mode", ["", "Other"])
def test_a_mode_that_is_none_is_asked_for(mode: str) -> None:
    found = found_with({SPOT: gdtf(TWO_MODES)}, fixture(1, mode=mode) + fixture(2, mode=mode))
    assert [head.profile for head in found.fixtures] == [None, None]
    (ask,) = found.asks
    assert (ask.key, ask.about, ask.choices) == ("mode", "Harbour Works@Spot 300", ("Basic", "Extended"))
    assert ask.text.startswith("Spot 1 (101), Spot 2 (102): ")


@pytest.mark.parametrize("mode", ["", "Other"])
def test_a_person_answers_which_mode(mode: str) -> None:
    found = found_with({SPOT: gdtf(TWO_MODES)}, fixture(mode=mode) + fixture(2, mode="Basic"), "Extended")
    assert [profile.mode for profile in found.profiles] == ["Extended", "Basic"]
    assert not found.asks


def test_the_only_mode_is_taken_where_none_is_given_but_not_for_another() -> None:
    found = found_with({SPOT: gdtf()}, fixture(mode=""))
    assert found.fixtures[0].profile is not None
    assert any("no mode is given" in note for note in found.notes)
    assert found_with({SPOT: gdtf()}, fixture(mode="Other")).asks[0].choices == ("Standard",)


def test_types_without_pan_and_tilt_are_left_out_many_in_one_line() -> None:
    members = {SPOT: gdtf(), "Harbour Works@Haze.gdtf": gdtf({"Standard": NO_HEAD})}
    hazers = "".join(fixture(n, f"Haze {n}", spec="Harbour Works@Haze") for n in range(2, 8))
    found = found_with(members, fixture(1) + hazers)
    assert [head.name for head in found.fixtures] == ["Spot 1"]
    assert [each.what for each in found.skipped] == [
        "6 of type 'Harbour Works@Haze': Haze 2 (102), Haze 3 (103), Haze 4 (104) and 3 more"
    ]
    assert found.skipped[0].why
    assert not found.asks


def test_each_file_is_read_once_and_each_mode_once(monkeypatch: pytest.MonkeyPatch) -> None:
    opened, taken = [], []
    open_gdtf, profile_of = mvr_types.open_gdtf, mvr_types.profile_of
    monkeypatch.setattr(mvr_types, "open_gdtf", lambda *args: opened.append(args[1]) or open_gdtf(*args))
    monkeypatch.setattr(mvr_types, "profile_of", lambda *args: taken.append(args[1]) or profile_of(*args))
    members = {SPOT: gdtf({**TWO_MODES, "Unused": SPOT_CHANNELS}), "unused.gdtf": gdtf()}
    names = [SPOT, "Harbour Works@Spot 300", SPOT.upper()]
    heads = "".join(fixture(n, spec=names[n % 3], mode=["Basic", "extended"][n % 2]) for n in range(1, 13))
    assert len(found_with(members, heads).profiles) == 2
    assert opened == [SPOT]
    assert sorted(taken) == ["Basic", "Extended"]


def test_profiles_of_one_name_get_stems_unlike_each_other() -> None:
    members = {"a.gdtf": gdtf(), "b.gdtf": gdtf()}
    found = found_with(members, fixture(1, spec="a") + fixture(2, spec="b"))
    assert len({profile.key for profile in found.profiles}) == 2
    assert len({profile.stem.casefold() for profile in found.profiles}) == 2
