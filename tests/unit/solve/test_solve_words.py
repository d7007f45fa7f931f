"""What a person reads: who, what, by how much, what to do; numbers from the data and nothing else."""

from dataclasses import replace

import numpy as np
import pytest

from bridge.solve.mounts import BASE_AXIS, MOUNTS
from bridge.solve.result import (
    Lifted,
    Misread,
    Moved,
    OtherMount,
    ProfileFault,
    Reordered,
    Resized,
    SharedRange,
    Suspect,
    Taped,
    Unexplained,
)
from bridge.solve.words import MOUNT_WORDS, nothing_solved_words, some, suspect_words, unsolved_words


def profile(term: str, factor: float) -> Suspect:
    return Suspect("h1", None, "profile", 0.5, detail=ProfileFault(term, factor, 540.0, 270.0))


EXCHANGED = Reordered((("A", "B"), ("B", "A")))
TURNED = Reordered((("A", "C"), ("B", "D"), ("C", "A"), ("D", "B")), turned=True)
SENTENCES = {
    "sighting": (Suspect("h1", "C", "sighting", 0.314), ["h1 at C is 31 cm off", "again"]),
    "unsure": (Suspect("h1", "C", "sighting", 0.314, sure=False), ["h1 at C may be 31 cm off"]),
    "wrong mark": (Suspect("h1", "C", "wrong-mark", 5.0, "D"), ["h1 at C is 500 cm off", "fits mark D", "was it D"]),
    "swap": (Suspect("h1", "A", "swap", 6.0, "C"), ["h1: the sightings at A and C", "exchanged", "600 cm"]),
    "hang": (Suspect("h1", None, "hang", 0.2), ["h1: its base is not as level as hang.sigma says"]),
    "mount": (
        Suspect("h1", None, "hang", 0.0, sure=False, detail=OtherMount("roll 90")),
        ["h1: does not fit its hang", "on its side (roll 90)", "fourth mark"],
    ),
    "position": (
        Suspect("h1", None, "position", 0.4, detail=Moved(None, (1.0, 2.5, 8.0))),
        ["h1: its position in rig.yaml", "(1.00, 2.50, 8.00)", "at_sigma"],
    ),
    "unexplained": (Suspect("h1", "C", "sighting", 0.4, detail=Unexplained()), ["h1", "worst at C (40 cm)"]),
    "pan reversed": (profile("pan", -1.004), ["pan runs the other way than its profile says", "invert"]),
    "pan reversed and wide": (profile("pan", -1.1667), ["other way", "over 630 deg, not the 540 deg"]),
    "pan": (profile("pan", 1.1667), ["pan seems to run over 630 deg, not the 540 deg"]),
    "tilt": (profile("tilt", 0.75), ["tilt seems to run over 202 deg, not the 270 deg"]),
    "unit": (profile("unit", 2.0), ["another unit", "2 degrees for each one", "1080 and 540 deg"]),
    "tilt zero": (profile("tilt-zero", np.radians(5.0)), ["tilt zero seems to be 5.0 deg"]),
    "survey": (
        Suspect(None, "C", "mark", 0.3, detail=Moved((6.0, 8.0, 0.0), (6.3, 8.0, 0.0))),
        ["mark C seems to be mis-surveyed by 30 cm", "put it at (6.30, 8.00)", "stage.yaml says (6.00, 8.00)"],
    ),
    "survey unsure": (
        Suspect(None, "C", "mark", 0.3, sure=False, detail=Moved((6.0, 8.0, 0.0), (6.3, 8.0, 0.0))),
        ["mark C or another mark may be mis-surveyed"],
    ),
    "labels": (Suspect(None, "A", "swap", 12.0, "B", detail=EXCHANGED), ["marks A and B are exchanged for all"]),
    "order": (
        Suspect(None, "A", "swap", 12.0, "C", detail=replace(TURNED, turned=False)),
        ["another order by all fixtures", "A is really C, B is really D"],
    ),
    "corner": (Suspect(None, "A", "corner", 12.0, "C", detail=TURNED), ["taken from another corner: A is really C"]),
    "corner by the plot": (
        Suspect(None, "A", "corner", 14.0, "C", detail=replace(TURNED, turned_off=0.5)),
        ["opposite corner", "14.0 m from their places", "turned round 0.5 m"],
    ),
    "mirror": (
        Suspect(
            None, None, "mirror", 12.0, detail=Misread("mirror", "x", ("reversed pans",), 12.3, 0.4, (("A", "B"),))
        ),
        ["as in a mirror: left and right", "A is really B", "or every pan runs the other way", "12.3 m", "0.4 m"],
    ),
    "feet": (
        Suspect(None, None, "feet", 12.0, detail=Misread("feet", "stage", (), np.nan, np.nan)),
        ["in feet, read as metres", "0.3048, and the performance polygon with them; correct it"],
    ),
    "turned survey": (
        Suspect(None, None, "corner", 12.0, detail=Misread("corner", "90", (), 9.0, 0.5)),
        ["turned by a corner (90 degrees)"],
    ),
    "riser": (
        Suspect(None, "C", "mark", 0.4, detail=Lifted(0.0, 0.4)),
        ["mark C seems to be at another height", "z 0.40, stage.yaml says 0.00", "riser"],
    ),
    "tape": (
        Suspect(None, "A", "tape", 0.5, "C", sure=False, detail=Taped(12.5, 12.0)),
        ["the tape between A and C may be wrong by 50 cm", "12.50 m, everything else 12.00 m"],
    ),
    "shared pan": (
        Suspect(None, None, "profile", 0.3, detail=SharedRange("spot", "pan", 537 / 540, 540.0, 12)),
        ["all 12 of type spot turn 537 degrees of pan, not 540", "record their sightings again"],
    ),
    "shared pan reversed": (
        Suspect(None, None, "profile", 0.3, detail=SharedRange("spot", "pan", -1.0, 540.0, 12)),
        ["all 12 of type spot pan the other way", "pan invert off"],
    ),
    "scale by tapes": (
        Suspect(None, None, "scale", 0.2, sure=False, detail=Resized(0.98, "tapes", True)),
        ["scale of the survey and of the tapes differs", "2.0 % too far apart", "nothing else decides"],
    ),
    "scale by the plot": (
        Suspect(None, None, "scale", 0.2, sure=False, detail=Resized(1.02, "plot", False)),
        ["by the positions of heads in rig.yaml, marks are 2.0 % too near each other", "the marks or the plot seem"],
    ),
    "all pans": (Suspect(None, None, "profile", 1.0, sure=False), ["every pan runs the other way", "mirror"]),
}


@pytest.mark.parametrize(("suspect", "parts"), SENTENCES.values(), ids=SENTENCES)
def test_each_suspect_is_told(suspect: Suspect, parts: list[str]) -> None:
    text = suspect_words(suspect)
    assert all(part in text for part in parts), text


def test_rivals_are_counted_and_named_once() -> None:
    other = Suspect("h1", "A", "swap", 6.0, "C", sure=False)
    rivals = (other, Suspect("h1", None, "hang", 0.2, sure=False), replace(profile("pan", 1.2), sure=False))
    text = suspect_words(Suspect("h1", "B", "sighting", 0.3, sure=False, rivals=rivals))
    assert text.startswith("h1 at B may be 30 cm off")
    assert "4 explanations fit (the sighting at B or A and C exchanged or its hang or its profile)" in text
    assert "explanations" not in suspect_words(other)


def test_one_of_several_says_so_first() -> None:
    text = suspect_words(Suspect("h1", "C", "sighting", 0.3, sure=False, one_of_several=True))
    assert text.startswith("h1: more than one thing is wrong; first h1 at C may be")


def test_of_two_wrong_sightings_with_a_rival_all_are_to_be_sighted_again() -> None:
    rival = Suspect("h1", "A", "sighting", 0.2, sure=False)
    text = suspect_words(Suspect("h1", "C", "sighting", 0.3, sure=False, rivals=(rival,), one_of_several=True))
    assert text.startswith("h1 at C may be")
    assert "more than one of these is wrong: the sighting at C, the sighting at A; sight them all again" in text


def test_every_mount_has_its_words() -> None:
    assert set(MOUNT_WORDS) == {*MOUNTS, BASE_AXIS}
    assert len(set(MOUNT_WORDS.values())) == len(MOUNT_WORDS)


@pytest.mark.parametrize(
    ("marks", "fits", "words"),
    [
        ([], False, "no mark was sighted"),
        (["A"], True, "only mark A was sighted; sight a second"),
        (["A", "B"], False, "do not fit its hang"),
        (["A", "B"], True, "do not fix its pose"),
        (["A", "B", "C"], False, "no place above the floor"),
        (["A", "B", "C"], True, "do not fix its pose"),
    ],
)
def test_why_a_head_is_unsolved(marks: list[str], fits: bool, words: str) -> None:
    text = unsolved_words("h1", marks, fits)
    assert text.startswith("h1: ")
    assert words in text


def test_many_reasons_and_many_names_are_cut_and_counted() -> None:
    lines = nothing_solved_words([f"r{i}" for i in range(9)]).splitlines()
    assert lines == ["no fixture could be solved:", *(f"r{i}" for i in range(6)), "... and 3 more fixtures"]
    assert nothing_solved_words(["r0"]).splitlines()[1:] == ["r0"]
    assert some([f"n{i}" for i in range(10)]).endswith("n7 and 2 more")
    assert some(["a", "b"]) == "a, b"
