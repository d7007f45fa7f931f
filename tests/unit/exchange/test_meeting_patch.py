"""A drawing that patches everything anew: swapped, shifted and blocked addresses, what is refused and said again."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from bridge.exchange.found import Found, FoundFixture, FoundProfile
from bridge.exchange.meeting import Meeting, meet
from bridge.exchange.meeting_patch import Claim, settled
from bridge.exchange.standing import standing
from bridge.exchange.taking import Taken, take
from bridge.exchange.texts import texts_of
from bridge.show.load import load

TOUR = Path(__file__).parents[3] / "configs" / "harbour-hall-tour"
WIDE = 20  # slots of spot-16bit


def heads(*addresses: int) -> Found:
    return Found(
        fixtures=tuple(
            FoundFixture(f"lx-{n}", id=f"id-{n}", number=str(n), type="spot-16bit", universe=70, address=address)
            for n, address in enumerate(addresses, 1)
        )
    )


@pytest.fixture
def show(tmp_path: Path) -> Path:
    folder = tmp_path / "show"
    shutil.copytree(TOUR, folder)
    taken(folder, heads(1, 21, 41, 61))
    return folder


def taken(folder: Path, found: Found) -> Meeting:
    meeting = meet(found, standing(folder), {"": "spot-16bit"})
    take(folder, Taken(meeting, texts_of(meeting, "works.mvr", folder.name)))
    return meeting


def patch(folder: Path) -> list[int]:
    return [int(head["address"]) for head in standing(folder).heads if str(head["name"]).startswith("lx-")]


@pytest.mark.parametrize("addresses", [(21, 1, 41, 61), (11, 31, 51, 71), (2, 22, 42, 62), (61, 41, 21, 1)])
def test_a_whole_patch_moves_at_once(show: Path, addresses: tuple[int, ...]) -> None:
    meeting = taken(show, heads(*addresses))
    assert patch(show) == list(addresses)
    assert not any("patch" in text for text in meeting.questions)


def test_what_is_blocked_is_said_each_time_and_taken_once_there_is_room(show: Path) -> None:
    rig = show / "rig.yaml"
    by_hand = "  - {name: mine, profile: spot-16bit, universe: 70, address: 100}\n"
    rig.write_text(rig.read_text() + by_hand)
    for _ in range(2):
        meeting = taken(show, heads(1, 21, 90, 41))
        said = [text for text in meeting.questions if "not taken over" in text]
        assert said == [
            f"lx-3: its new patch is not taken over: its slots 70/90-{90 + WIDE - 1} overlap those of mine, 100-119",
            "lx-4: its new patch is not taken over: its slots 70/41-60 overlap those of lx-3, 41-60",
        ]
        assert not any("by hand" in text for text in meeting.notes)
        assert patch(show) == [1, 21, 41, 61]
    rig.write_text(rig.read_text().replace(by_hand, ""))
    taken(show, heads(1, 21, 90, 41))
    assert patch(show) == [1, 21, 90, 41]


def test_a_new_head_gets_the_slots_that_another_one_leaves(show: Path) -> None:
    found = heads(100, 21, 41, 61)
    new = replace(found.fixtures[0], name="lx-5", id="id-5", number="5", address=1)
    taken(show, Found(fixtures=(new, *found.fixtures)))
    assert sorted(patch(show)) == [1, 21, 41, 61, 100]


def test_a_head_that_the_file_calls_otherwise_is_said_and_keeps_its_name(show: Path) -> None:
    found = heads(1, 21, 41, 61)
    meeting = taken(show, Found(fixtures=(replace(found.fixtures[0], name="Front Blau"), *found.fixtures[1:])))
    assert "Called otherwise in the file, they keep their names here: lx-1 (Front Blau)" in meeting.notes
    assert patch(show) == [1, 21, 41, 61]


def test_a_rig_whose_patch_is_no_number_stops_nothing() -> None:
    odd = {"name": "a", "profile": "p", "universe": [1], "address": {"x": 1}}
    new = {"name": "b", "profile": "p", "universe": 1, "address": 505}
    why = settled([Claim(odd, odd), Claim(new, None), Claim(new | {"address": 1}, None)], lambda word: 10)
    assert why == {1: "its 10 slots from 505 on reach past 512"}


def test_a_number_of_two_lines_becomes_one_and_stops_no_other_head(show: Path) -> None:
    found = heads(1, 21, 41, 61)
    odd = replace(found.fixtures[0], number="FOH\n2\u202e")
    taken(show, Found(fixtures=(odd, *found.fixtures[1:])))
    assert next(head["number"] for head in load_rig(show) if head["name"] == "lx-1") == "FOH 2"
    assert not taken(show, Found(fixtures=(replace(odd, id="other", name="else"), *found.fixtures[1:]))).changes


def load_rig(folder: Path) -> list[dict[str, object]]:
    load(folder)
    return [dict(head) for head in standing(folder).heads]


def test_a_head_file_alone_moves_no_pan_zero_that_a_drawing_gave(show: Path) -> None:
    pan = {"from": 405.0, "to": -225.0}
    document = {
        "name": "Works Wash", "footprint": 5, "channels": {"pan": [1, 2], "tilt": [3, 4], "dimmer": [5]}, "pan": pan,
        "tilt": {"from": 110.0, "to": -110.0},
    }  # fmt: skip
    drawn = FoundProfile("wash|a", "works-wash", "wash.gdtf", "a", document)
    head = FoundFixture("w", id="w", profile=drawn.key, universe=71, address=1)
    taken(show, Found((drawn,), (head,)))
    alone = replace(drawn, document=document | {"pan": {"from": 315.0, "to": -315.0}, "tilt": {"from": 90, "to": -90}})
    meeting = taken(show, Found((alone,)))
    file = "profiles/works-wash.yaml"
    assert standing(show).profiles[file]["pan"] == pan
    assert [change.text for change in meeting.changes] == [
        f"{file}: tilt.from: 110.0 -> 90",
        f"{file}: tilt.to: -110.0 -> -90",
    ]
    assert any(text.startswith(f"{file}: pan keeps its zero") for text in meeting.notes)
    assert not taken(show, Found((replace(alone, document=alone.document | {"pan": pan}),), (head,))).changes
