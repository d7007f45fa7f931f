"""What `check` says of working beside a desk: one test for each finding, and that a sound desk has none."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from bridge import cli
from bridge.commands.control_findings import control_findings, tries
from bridge.commands.desk_findings import desk_findings
from bridge.commands.findings import Finding
from bridge.rig.fixture import DeskShare
from bridge.rig.profile import Profile
from bridge.rig.rig import Rig
from bridge.show import Show, load
from bridge.wire.settings import Control, DeskGuide, DeskSettings

TOUR = Path(__file__).parents[3] / "configs" / "harbour-hall-tour"
BOTH = {1: 101, 2: 102}
FIXED = Finding(
    "note",
    "network.yaml",
    "`fixed` values count only while a head is sighted or walked; else the desk has those slots (a shutter, a lamp?): "
    "profile generic spot, 16 bit",
)


@pytest.fixture(scope="module")
def tour() -> Show:
    """With the heads of the back truss on universe 2."""
    show = load(TOUR)
    moved = (replace(f, universe=2) if f.truss == "back" else f for f in show.fixtures)
    return replace(show, fixtures=tuple(moved))


def beside(show: Show, priority: int = 110, **desk: object) -> Show:
    settings = DeskSettings(**{"universes": BOTH, **desk})  # type: ignore[arg-type]
    network = show.network
    return replace(show, network=replace(network, sacn=replace(network.sacn, priority=priority), desk=settings))


def shared(show: Show, name: str, share: DeskShare) -> Show:
    return replace(show, fixtures=tuple(replace(f, desk=share) if f.name == name else f for f in show.fixtures))


def found(show: Show) -> list[Finding]:
    """Without the note on fixed values, which every show of these heads has."""
    rows = list(desk_findings(show))
    assert show.network.desk is None or rows.count(FIXED) == 1
    return [row for row in rows if row != FIXED]


def only(show: Show, level: str, where: str, *words: str) -> None:
    (row,) = found(show)
    assert row[:2] == (level, where)
    assert [word for word in words if word not in row.what] == [], row.what


def refused(show: Show) -> list[str]:
    rows = list(control_findings(show, Rig.from_fixtures(show.fixtures, show.poses)))
    assert {row[:2] for row in rows} <= {("warning", "network.yaml")}
    return [row.what for row in rows]


def test_a_sound_desk_is_not_worth_a_word_but_for_fixed_values(tour: Show) -> None:
    controls = (Control(((60, 1),), "/target/lead/size", 16, (0.5,), (4.0,)), Control(((60, 3),), "/dark", above=127))
    show = beside(tour, controls=controls, guide=DeskGuide("foh-1", "lead"))
    assert found(show) == []
    assert refused(show) == []


def test_nothing_is_said_where_we_send_alone_but_of_a_share_that_means_nothing(tour: Show) -> None:
    assert found(tour) == []
    show = shared(tour, "foh-2", DeskShare(own=("pan", "tilt")))
    only(show, "note", "rig.yaml", "means nothing", "foh-2")


@pytest.mark.parametrize(("priority", "told"), [(100, True), (90, True), (101, False)])
@pytest.mark.parametrize("desk", [{"universes": {1: 101, 2: 2}}, {"way": "by-slot", "universes": {}}])
def test_our_priority_must_be_above_the_desk_s_on_the_same_universe(
    tour: Show, priority: int, told: bool, desk: dict[str, object]
) -> None:
    rows = [row for row in found(beside(tour, priority, **desk)) if "priority" in row.what and row.level == "warning"]
    assert len(rows) == told
    assert all(f"priority {priority} is not above 100" in row.what for row in rows)
    if told:
        assert ("universe 2 " if desk["universes"] else "universe 1, 2 ") in rows[0].what


def test_another_universe_may_have_any_priority(tour: Show) -> None:
    assert found(beside(tour, priority=50)) == []


def test_a_desk_s_universe_that_we_send_ourselves_is_a_loop(tour: Show) -> None:
    only(beside(tour, universes={1: 2, 2: 102}), "error", "network.yaml", "A LOOP", "2, laid under our 1")


def test_a_control_on_a_universe_that_we_send_ourselves_is_a_loop(tour: Show) -> None:
    control = Control(((1, 500),), "/dark", above=127)
    only(beside(tour, controls=(control,)), "warning", "network.yaml", "universe 1", "A LOOP")


def test_a_control_on_a_universe_of_the_desk_s_that_has_our_number_is_none(tour: Show) -> None:
    control = Control(((2, 500),), "/dark", above=127)
    assert found(beside(tour, universes={1: 101, 2: 2}, controls=(control,))) == []


def test_heads_without_a_desk_are_told(tour: Show) -> None:
    only(beside(tour, universes={1: 101}), "note", "network.yaml", "no desk under universe 2", "sent alone")


def test_a_universe_without_a_head_is_told(tour: Show) -> None:
    only(beside(tour, universes={1: 101, 2: 102, 9: 109}), "warning", "network.yaml", "no head on our universe 9")


def test_by_slot_says_what_a_plain_node_does(tour: Show) -> None:
    only(beside(tour, way="by-slot", universes={}), "note", "network.yaml", "0xDD", "obeys the desk alone")


def test_by_slot_from_another_universe_is_nothing_that_a_node_does(tour: Show) -> None:
    rows = [row for row in found(beside(tour, way="by-slot")) if row.level == "warning"]
    assert len(rows) == 1
    assert "the same number, not from 1: 101, 2: 102" in rows[0].what


def test_a_head_whose_dimmer_is_not_ours_cannot_be_darkened(tour: Show) -> None:
    show = shared(beside(tour), "foh-2", DeskShare(own=("pan", "tilt")))
    only(show, "warning", "network.yaml", "without dimmer", "cannot darken foh-2")


@pytest.mark.parametrize("own", [("tilt", "dimmer"), ("pan", "dimmer"), ("dimmer",)])
def test_a_head_without_pan_or_tilt_is_not_ours_to_aim(tour: Show, own: tuple[str, ...]) -> None:
    only(shared(beside(tour), "foh-2", DeskShare(own=own)), "warning", "network.yaml", "not ours to aim are foh-2")


def without(show: Show, channel: str) -> Show:
    """The show with heads that lack a channel."""

    def less(profile: Profile) -> Profile:
        return replace(profile, channels={name: at for name, at in profile.channels.items() if name != channel})

    return replace(show, fixtures=tuple(replace(f, profile=less(f.profile)) for f in show.fixtures))


def test_a_channel_of_ours_that_the_profile_has_not_is_told(tour: Show) -> None:
    show = without(tour, "focus")
    assert found(beside(show)) == [], "the default says all channels there may be"
    shares = shared(beside(show), "foh-2", DeskShare(own=("pan", "tilt", "dimmer", "focus")))
    only(shares, "note", "foh-2", "own names focus", "profile generic spot, 16 bit has not")
    only(beside(show, own=("pan", "tilt", "dimmer", "focus")), "note", "network.yaml", "own names focus", "no head")


@pytest.mark.parametrize("address", [1, 2, 9, 17])
def test_a_control_on_a_channel_of_a_head_that_is_ours(tour: Show, address: int) -> None:
    control = Control(((101, address),), "/dark", above=127)
    only(beside(tour, controls=(control,)), "warning", "network.yaml", f"controls.1: slot 101.{address}", "foh-1")


def test_the_fine_byte_counts_too_and_a_slot_of_the_desk_s_does_not(tour: Show) -> None:
    value = Control(((101, 20),), "/target/lead/size", 16, (1.0,), (2.0,))
    only(beside(tour, controls=(value,)), "warning", "network.yaml", "slot 101.21", "foh-2")
    assert found(beside(tour, controls=(replace(value, bits=8),))) == []


def test_a_slot_that_two_controls_read_is_told(tour: Show) -> None:
    value = Control(((60, 1),), "/target/lead/size", 16, (1.0,), (2.0,))
    switch = Control(((60, 2),), "/dark", above=127)
    only(beside(tour, controls=(value, switch)), "note", "network.yaml", "slot 60.2 is read 2 times")


def test_a_guide_without_a_desk_under_it_guides_nobody(tour: Show) -> None:
    name = next(fixture.name for fixture in tour.fixtures if fixture.universe == 2)
    rows = found(beside(tour, universes={1: 101}, guide=DeskGuide(name, "lead")))
    assert [row.level for row in rows] == ["note", "warning"]
    assert f"under 2, so {name} guides nobody" in rows[1].what


def test_a_guide_that_follows_another_is_refused_until_it_is_handed_over(tour: Show) -> None:
    show = beside(tour, guide=DeskGuide("foh-1", "lead"))
    fixtures = tuple(replace(f, follows="second") if f.name == "foh-1" else f for f in show.fixtures)
    only(replace(show, fixtures=fixtures), "warning", "network.yaml", "foh-1 follows second", "handed to lead")


def test_a_guide_without_a_pose_is_told(tour: Show) -> None:
    show = beside(tour, guide=DeskGuide("foh-1", "lead"))
    poses = {name: pose for name, pose in show.poses.items() if name != "foh-1"}
    only(replace(show, poses=poses), "note", "network.yaml", "foh-1 has no pose yet")


@pytest.mark.parametrize(
    ("control", "words"),
    [
        (Control(((60, 1),), "/target/lead/size", first=(-1.0,), last=(4.0,)), "/target/lead/size -1 would be refused"),
        (Control(((60, 1),), "/level", first=(0.0,), last=(2.0,)), "/level 2 would be refused"),
        (Control(((60, 1),), "/dark", first=(0.0,), last=(1.0,)), "/dark 0.5 would be refused"),
        (Control(((60, 1),), "/target/lead/position", first=(0.0,), last=(1.0,)), "position takes 2 or 3"),
        (Control(((60, 1),), "/fixture/foh-1/follow", choose=((0, ("nobody",)),)), "there is no target nobody"),
        (Control(((60, 1),), "/target/lead/crew", choose=((0, ("foh-1",)), (9, ("foh-99",)))), "no fixture foh-99"),
        (Control(((60, 1),), "/fixture/foh-1/act", choose=((0, ("dance",)),)), "foh-1/act dance would be refused"),
        (Control(((60, 1),), "/arm", first=(0.0,), last=(1.0,)), "/arm 0.5 would be refused: it takes 0 or 1"),
        (Control(((60, 1),), "/fixture/foh-1/desk", choose=((9, (2.0,)),)), "foh-1/desk 2 would be refused"),
        (Control(((60, 1),), "/reload", first=(0.0,), last=(1.0,)), "/reload 0 would be refused: it takes nothing"),
        (Control(((60, 1),), "/sight/foh-1/record", choose=((9, ("ZZ",)),)), "it takes the name of a mark"),
    ],
)
def test_a_control_that_is_never_obeyed_is_a_warning(tour: Show, control: Control, words: str) -> None:
    show = beside(tour, controls=(Control(((60, 9),), "/dark", above=1), control))
    (text,) = refused(show)
    assert text.startswith("controls.2: ")
    assert words in text


def test_a_head_without_a_desk_under_it_is_never_given_away(tour: Show) -> None:
    controls = tuple(Control(((60, 1),), f"/fixture/{name}/desk", above=127) for name in ("foh-1", "back-1"))
    (text,) = refused(beside(tour, universes={1: 101}, controls=controls))
    assert text.startswith("controls.2: /fixture/back-1/desk 1 would be refused: ")


@pytest.mark.parametrize(
    "control",
    [
        Control(((60, 1), (60, 2)), "/target/lead/position", first=(-6.0, 0.0), last=(6.0, 8.0)),
        Control(((60, 1),), "/still", above=127),
        Control(((60, 1),), "/fixture/foh-1/find", above=127),
        Control(((60, 1),), "/target/lead/alive", choose=((128, ()),)),
        Control(((60, 1),), "/target/lead/crew", choose=((0, ("foh-1",)), (9, ("foh-1", "foh-2")))),
        Control(((60, 1),), "/lock", above=127),
        Control(((60, 1),), "/desk", above=127),
        Control(((60, 1),), "/fixture/foh-1/desk", choose=((9, (1.0,)), (0, (0.0,)))),
        Control(((60, 1),), "/reload", choose=((128, ()),)),
        Control(((60, 1),), "/walk", choose=((128, ("A",)),)),
        Control(((60, 1),), "/sight/foh-1/record", choose=((9, ("A",)),)),
        Control(((60, 1),), "/sight/foh-1/point", choose=((9, (0.0, 30.0)),)),
    ],
    ids=lambda control: control.to,
)
def test_a_control_that_may_be_obeyed_is_not_told(tour: Show, control: Control) -> None:
    assert refused(beside(tour, controls=(control,))) == []


def test_what_a_control_is_tried_with() -> None:
    assert tries(Control(((1, 1),), "/level", first=(0.0,), last=(1.0,))) == [(0.0,), (0.5,), (1.0,)]
    assert tries(Control(((1, 1),), "/dark", above=0)) == [(1,), (0,)]
    assert tries(Control(((1, 1),), "/target/lead/alive", choose=((0, ()),))) == [()]
    assert tries(Control(((1, 1),), "/target/lead/take", above=0)) == [()]


def test_check_says_all_of_it_and_no_more_that_slots_are_sent_as_0(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    show = tmp_path / "show"
    shutil.copytree(TOUR, show)
    rig = (show / "rig.yaml").read_text()
    first, last = rig.rsplit("universe: 1", 1)
    (show / "rig.yaml").write_text(f"{first}universe: 2{last}")
    with (show / "network.yaml").open("a") as file:
        control = "{slots: [60.1], to: /reload, from: [0], until: [1]}"
        file.write(f"desk: {{universes: {{1: 2, 2: 102}}, controls: [{control}]}}\n")
    assert cli.main(["check", str(show), "--strict", "--json"]) == 1
    rows = json.loads(capsys.readouterr().out)["findings"]
    assert rows[0]["level"] == "error"
    assert "A LOOP" in rows[0]["what"]
    assert any("/reload 0 would be refused" in row["what"] for row in rows)
    assert not any("sent as 0" in row["what"] for row in rows)
