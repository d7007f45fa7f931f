"""The desk that the venue plays: fades at exact times, rounds, values of 16 bits; and what its file may say."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bridge.errors import ShowError
from bridge.show.model import Show
from bridge.venue.desk import Cue, DeskPlay
from bridge.venue.desk_file import Desk, load_desk
from bridge.wire.settings import DeskSettings
from tests.unit.venue.rigs import show

OFF = Cue(0.0, {(101, 1): 0})


def test_a_fade_is_linear_and_arrives_when_it_says() -> None:
    play = DeskPlay([OFF, Cue(10.0, {(101, 1): 200, (101, 3): 255}, 4.0)])
    at = {t: play.slots(t)[0, :3].tolist() for t in (0, 9.99, 10, 11, 12, 14, 1e6)}
    assert at[0] == at[9.99] == at[10] == [0, 0, 0]
    assert at[11] == [50, 0, 64]  # a quarter of 255 is 63.75
    assert at[12] == [100, 0, 128]
    assert at[14] == at[1e6] == [200, 0, 255]


def test_a_cue_without_fade_is_there_at_once_and_a_look_says_everything() -> None:
    play = DeskPlay([Cue(0.0, {(101, 1): 9, (102, 512): 7}), Cue(5.0, {(101, 2): 8})])
    assert play.universes == (101, 102)
    assert play.slots(0.0)[0, :2].tolist() == [9, 0]
    assert play.slots(0.0)[1, 511] == 7
    assert play.slots(5.0)[0, :2].tolist() == [0, 8]
    assert not play.slots(5.0)[1].any()


def test_a_round_begins_from_what_the_last_cue_left() -> None:
    play = DeskPlay([Cue(2.0, {(101, 1): 100}, 2.0), Cue(6.0, {(101, 1): 40}, 2.0)], repeat_s=10.0)
    first = [int(play.slots(t)[0, 0]) for t in (0, 1.9, 3, 4, 7, 9.9)]
    second = [int(play.slots(t)[0, 0]) for t in (10, 11.9, 13, 14, 17, 19.9)]
    assert first == [0, 0, 50, 100, 70, 40]
    assert second == [40, 40, 70, 100, 70, 40]
    assert [int(play.slots(t)[0, 0]) for t in (1013, 1014)] == [70, 100]


def test_slots_that_hold_one_value_fade_as_one() -> None:
    """From 255 to 512 in 16 bits: with every slot faded for itself the value would fall first."""
    cues = [Cue(0.0, {(101, 5): 0, (101, 6): 255}), Cue(1.0, {(101, 5): 2, (101, 6): 0}, 10.0)]
    play = DeskPlay(cues, [(101, (5, 6)), (999, (1, 2))])
    values = [int(v[0, 4]) * 256 + int(v[0, 5]) for v in (play.slots(t) for t in np.linspace(1, 11, 200))]
    assert values[0] == 255
    assert values[-1] == 512
    assert values == sorted(values)
    assert int(play.slots(6.0)[0, 4]) * 256 + int(play.slots(6.0)[0, 5]) == round((255 + 512) / 2)


def test_a_fade_down_and_24_bits() -> None:
    cues = [Cue(0.0, {(1, 1): 255, (1, 2): 255, (1, 3): 255}), Cue(0.5, {(1, 4): 1}, 1.0)]
    play = DeskPlay(cues, [(1, (1, 2, 3))])
    at = play.slots(1.0)[0]
    assert int(at[0]) << 16 | int(at[1]) << 8 | int(at[2]) == round((256**3 - 1) / 2)
    assert not play.slots(1.5)[0, :3].any()


GOOD = """version: 1
name: Second desk
priority: 90
to: ["10.0.0.7", "10.0.0.8:6000"]
looks:
  half: {fixtures: {foh-*: {dimmer: 0.5}}}
  blue: {fixtures: {foh-1: {7: 1, zoom: 1, pan: 90}, foh-2: {tilt: -135}}, slots: {201.12: 3, 30500.10: 8}}
cues:
  - {at: 0, look: half}
  - {at: 1, look: [half, blue], fade: 2}
repeat: 30
"""


def beside(desk: DeskSettings | None = None) -> Show:
    made = show(3)
    settings = desk or DeskSettings(universes={made.fixtures[0].universe: 201})
    return replace(made, network=replace(made.network, desk=settings))


def read(tmp_path: Path, text: str, of: Show | None = None) -> Desk:
    (tmp_path / "cues.yaml").write_text(text)
    return load_desk(tmp_path / "cues.yaml", of or beside())


def test_a_file_is_read(tmp_path: Path) -> None:
    desk = read(tmp_path, GOOD)
    assert (desk.name, desk.priority) == ("Second desk", 90)
    assert desk.destinations == (("10.0.0.7", 5568), ("10.0.0.8", 6000))
    assert desk.play.universes == (201, 30500)
    half = desk.play.slots(0.5)[0]
    # Dimmer at offsets 5 and 6; foh-2 begins at 11, foh-3 at 21. Half of 65535 is 0x8000.
    assert {int(i) + 1: int(half[i]) for i in np.flatnonzero(half)} == {5: 128, 15: 128, 25: 128}
    blue = desk.play.slots(3.0)
    # Pan -270 to 270: 90 is 2/3 of 65535 = 0xAAAA; zoom 1 (0xFFFF) over slot 7's byte, as it was written later.
    expected = {1: 0xAA, 2: 0xAA, 5: 128, 7: 255, 8: 255, 12: 3, 15: 128, 25: 128}
    assert {int(i) + 1: int(blue[0, i]) for i in np.flatnonzero(blue[0])} == expected
    assert blue[1, 9] == 8, "30500.10 is address 10, not 1"
    assert desk.play.slots(31.0)[0, 6] == 0
    assert desk.play.slots(32.0)[0, 6] == 128, "half way in the second round, in 16 bits"


def test_what_a_file_leaves_out(tmp_path: Path) -> None:
    desk = read(tmp_path, "version: 1\nlooks: {a: {slots: {60.1: 5}}}\ncues: [{at: 1, look: a}]\n")
    assert (desk.name, desk.priority, desk.destinations) == ("Harbour Hall desk", 100, ())
    assert [int(desk.play.slots(t)[0, 0]) for t in (0.5, 1.0, 1e5)] == [0, 5, 5]


def test_light_follows_the_curve_of_the_profile(tmp_path: Path) -> None:
    made = beside()
    square = replace(made.fixtures[0].profile, dimmer_curve="square")
    made = replace(made, fixtures=(replace(made.fixtures[0], profile=square),))
    desk = read(
        tmp_path, "version: 1\nlooks: {a: {fixtures: {foh-1: {dimmer: 0.25}}}}\ncues: [{at: 0, look: a}]\n", made
    )
    assert desk.play.slots(0)[0, 4:6].tolist() == [128, 0], "half of full (32768 of 65535) is a quarter of the light"


@pytest.mark.parametrize(
    ("wrong", "right", "line", "words"),
    [
        ("priority: 201", "priority: 90", 3, "a whole number from 0 to 200"),
        ("foh_*:", "foh-*:", 6, "no fixture 'foh_*'"),
        ("dimer: 0.5", "dimmer: 0.5", 6, "pan, tilt, dimmer, zoom, focus, or an offset from 1 to 10"),
        ("dimmer: 50", "dimmer: 0.5", 6, "a number from 0 to 1"),
        ("11: 1", "7: 1", 7, "an offset from 1 to 10"),
        ("7: 256", "7: 1", 7, "a whole number from 0 to 255"),
        ("pan: 271", "pan: 90", 7, "from -270 to 270 degrees"),
        ("201.513: 3", "201.12: 3", 7, "UNIVERSE.ADDRESS"),
        ("look: blau, fade: 2", "look: [half, blue], fade: 2", 10, "a look of this file: half, blue"),
        ("at: 0, look: half, fade: 1.5", "at: 0, look: half", 8, "cue 1 has arrived at 1.5 s"),
        ("repeat: 2", "repeat: 30", 11, "3 or more"),
        ("repaet: 30", "repeat: 30", 11, "nearest is 'repeat'"),
        ("fade_s: 2", "fade: 2", 10, "nearest is 'fade'"),
        ('to: ["desk"]', 'to: ["10.0.0.7", "10.0.0.8:6000"]', 4, "an IPv4 address"),
        ("slot: {201", "slots: {201", 7, "nearest is 'slots'"),
    ],
)
def test_what_is_wrong_is_named_with_its_line(tmp_path: Path, wrong: str, right: str, line: int, words: str) -> None:
    assert right in GOOD
    with pytest.raises(ShowError) as caught:
        read(tmp_path, GOOD.replace(right, wrong))
    found = [text.removeprefix(f"{tmp_path / 'cues.yaml'}:") for text in caught.value.lines]
    assert any(text.startswith(f"{line}:") and words in text for text in found), found


def test_a_fixture_that_no_desk_universe_lies_under_needs_slots(tmp_path: Path) -> None:
    with pytest.raises(ShowError, match="no universe of the desk for foh-1"):
        read(tmp_path, GOOD, show(3))
    by_slot = beside(DeskSettings(way="by-slot"))
    assert read(tmp_path, GOOD, by_slot).play.universes == (201, by_slot.fixtures[0].universe, 30500)


def test_a_desk_without_a_slot_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ShowError, match="this desk would send nothing"):
        read(tmp_path, "version: 1\nlooks: {a: {}}\ncues: [{at: 1, look: a}]\n")
