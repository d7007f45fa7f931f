# ruff: noqa: E501 (rows of a table stay rows)
"""`desk:` in network.yaml and rig.yaml: what is read, and one test per reason to refuse."""

from __future__ import annotations

import pytest

from bridge.door.replay import belongs_to_daemon
from bridge.follow.commands.table import Commands
from bridge.follow.engine import Engine
from bridge.rig.fixture import AS_THE_REST, DeskShare
from bridge.rig.rig import Rig
from bridge.show.addresses import NOT_OF_THE_ENGINE, form_of, forms, name_in
from bridge.wire.settings import Control, DeskGuide, DeskSettings

RIG, STAGE, NET = "rig.yaml", "stage.yaml", "network.yaml"
LAST = "record: {folder: captures, days: 14, megabytes: 2000}\n"
DESK = """desk:
  way: overlay
  universes: {1: 101}
  interface: eth1
  own: [pan, tilt, dimmer]
  dimmer: ours
  lost: dark
  controls:
    - {slots: [60.1], bits: 16, to: /target/lead/size, from: [0.5], until: [4.0]}
    - {slots: [60.10], to: /dark, above: 127}
    - {slots: ["60.5", 60.7], bits: 16, to: /target/lead/position, from: [-6, 0], until: [6, 8], alive: on}
    - {slots: [60.9], to: /target/lead/crew, choose: {128: [foh-2], 10: [foh-1, foh-2]}}
  guide: {fixture: foh-2, target: lead}
"""
VALUE = "{slots: [60.1], bits: 16, to: /target/lead/size, from: [0.5], until: [4.0]}"
SWITCH = "{slots: [60.10], to: /dark, above: 127}"
CREW = "{slots: [60.9], to: /target/lead/crew, choose: {128: [foh-2], 10: [foh-1, foh-2]}}"


def with_desk(folder, text: str = DESK) -> None:
    folder.edit(NET, LAST, LAST + text)


def test_everything_that_stands_there_is_read(folder) -> None:
    with_desk(folder)
    folder.edit(RIG, "    evenness: key\n", "    evenness: key\n    desk: {own: [pan, tilt], dimmer: multiply}\n")
    show = folder.load()
    assert show.network.desk == DeskSettings(
        way="overlay",
        universes={1: 101},
        interface="eth1",
        own=("pan", "tilt", "dimmer"),
        dimmer="ours",
        lost="dark",
        controls=(
            Control(((60, 1),), "/target/lead/size", bits=16, first=(0.5,), last=(4.0,)),
            Control(((60, 10),), "/dark", above=127, below=117),
            Control(((60, 5), (60, 7)), "/target/lead/position", 16, (-6.0, 0.0), (6.0, 8.0), alive=True),
            Control(((60, 9),), "/target/lead/crew", choose=((10, ("foh-1", "foh-2")), (128, ("foh-2",)))),
        ),
        guide=DeskGuide("foh-2", "lead"),
    )
    assert [fixture.desk for fixture in show.fixtures] == [DeskShare(("pan", "tilt"), "multiply"), AS_THE_REST]


def test_without_it_we_send_alone(folder) -> None:
    assert folder.load().network.desk is None


def test_by_slot_needs_nothing_else(folder) -> None:
    with_desk(folder, "desk: {way: by-slot}\n")
    desk = folder.load().network.desk
    assert desk == DeskSettings(way="by-slot")
    assert desk.under([1, 2]) == {1: 1, 2: 2}


@pytest.mark.parametrize(
    ("written", "below"),
    [
        ("above: 127", 117),
        ("above: 127, below: 100", 100),
        ("above: 4", 1),
        ("above: 0", 1),
        ("bits: 16, above: 32767", 30146),
        ("bits: 16, above: 100", 1),
    ],
)
def test_a_switch_goes_off_some_way_below_where_it_goes_on(folder, written: str, below: int) -> None:
    """And never at a value that no slot can have: below 0 there is none."""
    with_desk(folder, DESK.replace("to: /dark, above: 127", f"to: /dark, {written}"))
    assert folder.load().network.desk.controls[1].below == below


def test_arguments_that_are_names_stay_names_though_they_look_like_numbers(folder) -> None:
    folder.edit(RIG, "name: foh-2", "name: 0102")
    folder.edit("sightings.yaml", "fixture: foh-2", "fixture: 0102")
    folder.edit("poses.yaml", "foh-2:", "0102:")
    crew = "{slots: [60.9], to: /target/lead/crew, choose: {0: [0102], 9: []}}"
    size = "{slots: [60.11], to: /target/lead/size, choose: {0: [1.5, 2], 99: [tight]}}"
    with_desk(folder, f"desk: {{way: by-slot, controls: [{crew}, {size}]}}\n")
    found = [control.choose for control in folder.load().network.desk.controls]
    assert found == [((0, ("0102",)), (9, ())), ((0, (1.5, 2.0)), (99, ("tight",)))]


# (what is wrong, text of DESK, text put in its place, words of the message)
REASONS = [
    ("no mapping", DESK, "desk: 1\n", ["desk: found 1", "a mapping with way and universes"]),
    ("a way that is none", "way: overlay", "way: overlya", ["desk.way: found 'overlya'", "overlay or by-slot", "nearest is 'overlay'"]),
    ("overlay without universes", "  universes: {1: 101}\n", "", ["desk: found no universes with way overlay", "{1: 101}"]),
    ("universes as a list", "{1: 101}", "[1, 101]", ["desk.universes: found [1, 101]", "a mapping of our universes to the desk's"]),
    ("our universe 0", "{1: 101}", "{0: 101}", ["desk.universes.0: found our universe '0'", "each of 1 to 63999"]),
    ("our universe as a name", "{1: 101}", "{one: 101}", ["found our universe 'one'"]),
    ("our universe twice", "{1: 101}", "{1: 101, 01: 102}", ["desk.universes"]),
    ("the desk's universe 64000", "{1: 101}", "{1: 64000}", ["desk.universes.1: found 64000", "from 1 to 63999"]),
    ("a universe that the rig has not", "{1: 101}", "{3: 103}", ["desk.universes: found our universe 3", "rig.yaml does not patch", "nearest is 1", "allowed: 1"]),
    ("the map the wrong way round", "{1: 101}", "{101: 1}", ["found our universe 101", "ours come first, then the desk's"]),
    ("an interface that can be none", "eth1", "not an interface", ["desk.interface: found 'not an interface'"]),
    ("a channel that there is not", "[pan, tilt, dimmer]", "[pan, tlit]", ["desk.own.2: found 'tlit'", "nearest is 'tilt'"]),
    ("a channel twice", "[pan, tilt, dimmer]", "[pan, tilt, pan]", ["desk.own: found ['pan', 'tilt', 'pan']", "pan is there twice"]),
    ("no channel", "[pan, tilt, dimmer]", "[]", ["desk.own: found []", "a list of channels"]),
    ("a dimmer that is neither", "dimmer: ours", "dimmer: theirs", ["desk.dimmer: found 'theirs'", "multiply or ours"]),
    ("lost is neither", "lost: dark", "lost: drak", ["desk.lost: found 'drak'", "hold or dark"]),
    ("an unknown key", "lost: dark", "lots: dark", ["desk: found unknown key 'lots'", "nearest is 'lost'"]),
    ("controls are no list", DESK[DESK.index("  controls:") : DESK.index("  guide")], "  controls: {a: 1}\n", ["desk.controls: found a mapping", "a list of controls"]),
    ("a control without slots", "slots: [60.1], ", "", ["desk.controls.1: found no key 'slots'"]),
    ("a control of nothing", "[60.1]", "[]", ["controls.1.slots: found []", "a list of slots"]),
    ("a control without an address", "to: /dark, ", "", ["controls.2: found no key 'to'"]),
    ("a slot without its universe", "[60.1]", "[60]", ["controls.1.slots.1: found 60", "UNIVERSE.ADDRESS such as 60.1"]),
    ("a slot past 512", "[60.1]", "[60.513]", ["found 60.513", "an address from 1 to 512"]),
    ("a slot on universe 64000", "[60.1]", "[64000.1]", ["found 64000.1", "a universe from 1 to 63999"]),
    ("a slot as a word", "[60.1]", "[x]", ["controls.1.slots.1: found x"]),
    ("a fine byte past 512", "[60.1]", "[60.512]", ["controls.1.slots: found 60.512 with bits 16", "up to 511"]),
    ("bits of 24", "bits: 16, to: /target/lead/size", "bits: 24, to: /target/lead/size", ["controls.1.bits: found 24", "8 or 16"]),
    ("an address near another", "/target/lead/size", "/target/lead/sise", ["controls.1.to: found '/target/lead/sise'", "nearest is '/target/NAME/size'"]),
    ("an address without its stroke", "to: /dark", "to: dark", ["controls.2.to: found 'dark'", "nearest is '/dark'"]),
    ("the feed", "to: /dark", "to: /feed/subscribe", ["controls.2.to: found '/feed/subscribe'"]),
    ("an operator", "to: /dark", "to: /operator", ["controls.2.to: found '/operator'"]),
    ("too long an address", "to: /dark", "to: /target/lead/size/now", ["controls.2.to: found '/target/lead/size/now'"]),
    ("a name left out", "to: /dark", "to: /target//size", ["controls.2.to", "unknown target ''"]),
    ("of no kind", ", above: 127", "", ["controls.2: found none of them", "exactly one of: from and until"]),
    ("of two kinds", ", above: 127", ", above: 127, choose: {1: [1]}", ["controls.2: found above and choose", "exactly one of"]),
    ("from without until", ", until: [4.0]", "", ["controls.1.from: found from without until"]),
    ("until without from", ", from: [0.5]", "", ["controls.1.until: found until without from"]),
    ("from is too short", "from: [-6, 0]", "from: [-6]", ["controls.3.from: found 1 numbers for 2 slots"]),
    ("until is too long", "until: [4.0]", "until: [4.0, 1]", ["controls.1.until: found 2 numbers for 1 slots"]),
    ("from is no number", "from: [0.5]", "from: [half]", ["controls.1.from.1: found 'half'", "a finite number"]),
    ("from is not finite", "from: [0.5]", "from: [.nan]", ["controls.1.from.1: found .nan"]),
    ("above of two slots", "[60.10]", "[60.10, 60.11]", ["controls.2.slots: found 2 slots with above", "one slot"]),
    ("choose of two slots", "[60.9]", "[60.9, 60.8]", ["controls.4.slots: found 2 slots with choose"]),
    ("above full", "above: 127", "above: 255", ["controls.2.above: found 255", "0 to 254"]),
    ("above beyond 8 bits", "above: 127", "above: 32000", ["controls.2.above: found 32000", "0 to 254"]),
    ("below above above", "above: 127", "above: 127, below: 129", ["controls.2.below: found 129 with above 127", "1 to 128"]),
    ("below 0", "above: 127", "above: 127, below: 0", ["controls.2.below: found 0", "from 1"]),
    ("below alone", "above: 127", "below: 117, choose: {1: [1]}", ["controls.2.below: found below without above"]),
    ("choose nothing", "{128: [foh-2], 10: [foh-1, foh-2]}", "{}", ["controls.4.choose: found a mapping", "at least one value"]),
    ("choose by a word", "{128: [foh-2],", "{half: [foh-2],", ["controls.4.choose.half: found the value 'half'"]),
    ("choose one value twice", "10: [foh-1, foh-2]}", "0128: [foh-1]}", ["controls.4.choose.0128: found the value '0128'", "once"]),
    ("choose beyond 8 bits", "{128: [foh-2],", "{256: [foh-2],", ["controls.4.choose: found the value 256", "0 to 255"]),
    ("choose what is no list", "128: [foh-2]", "128: foh-2", ["controls.4.choose.128: found 'foh-2'", "a list"]),
    ("choose a list in a list", "128: [foh-2]", "128: [[foh-2]]", ["controls.4.choose.128.1", "a name or a number"]),
    ("choose what is not finite", "/target/lead/crew, choose: {128: [foh-2]", "/target/lead/size, choose: {128: [.inf]", ["controls.4.choose.128.1: found .inf"]),
    ("bits that are not whole", "bits: 16, to: /target/lead/size", "bits: 8.0, to: /target/lead/size", ["controls.1.bits: found 8.0"]),
    ("alive is no switch", "alive: on", "alive: perhaps", ["controls.3.alive: found 'perhaps'", "on or off"]),
    ("a target that there is not", "to: /target/lead/size", "to: /target/leda/size", ["desk.controls.1.to: found unknown target 'leda'", "nearest is 'lead'"]),
    ("a fixture that there is not", "to: /dark", "to: /fixture/foh-3/out", ["desk.controls.2.to: found unknown fixture 'foh-3'", "nearest is 'foh-"]),
    ("a head to be sighted that there is not", "to: /dark", "to: /sight/foh-3/done", ["controls.2.to: found unknown fixture 'foh-3'"]),
    ("an area that there is not", "to: /dark", "to: /area/thrst", ["controls.2.to: found unknown area 'thrst'", "nearest is 'thrust'"]),
    ("a no-light area that there is not", "to: /dark", "to: /no-light/rows", ["controls.2.to: found unknown no-light area 'rows'"]),
    ("a floor that there is not", "to: /dark", "to: /floor/risr", ["controls.2.to: found unknown floor 'risr'"]),
    ("a truss that there is not", "to: /dark", "to: /truss/fho/still", ["controls.2.to: found unknown truss 'fho'"]),
    ("a guide that is no mapping", "{fixture: foh-2, target: lead}", "foh-2", ["desk.guide: found 'foh-2'", "fixture and target"]),
    ("a guide without a target", "{fixture: foh-2, target: lead}", "{fixture: foh-2}", ["desk.guide: found no key 'target'"]),
    ("a guide that there is not", "{fixture: foh-2,", "{fixture: foh-9,", ["desk.guide.fixture: found unknown fixture 'foh-9'"]),
    ("a guide to nobody", "target: lead}", "target: leda}", ["desk.guide.target: found unknown target 'leda'"]),
]  # fmt: skip


@pytest.mark.parametrize(("reason", "old", "new", "words"), REASONS, ids=[r[0] for r in REASONS])
def test_refused_with_file_line_found_and_allowed(folder, reason: str, old: str, new: str, words: list[str]) -> None:
    assert old in DESK, "a mistake in the test"
    with_desk(folder, DESK.replace(old, new, 1))
    problems = folder.problems()
    matching = [text for text in problems if all(word in text for word in words)]
    assert matching, problems
    first = DESK[: DESK.index(old)].count("\n") + 7  # what stands before `desk:` has six lines
    assert int(matching[0].split(":")[1]) in (first, 8), matching  # a key that is missing is told at its mapping
    assert len(problems) == 1, "one mistake, one message"


def test_the_reasons_differ() -> None:
    assert len({reason[0] for reason in REASONS}) == len(REASONS)


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("pan", "foh-2.desk: found 'pan'"),
        ("{own: [iris]}", "foh-2.desk.own.1: found 'iris'"),
        ("{own: pan}", "foh-2.desk.own: found 'pan'"),
        ("{dimmer: half}", "foh-2.desk.dimmer: found 'half'"),
        ("{way: overlay}", "foh-2.desk: found unknown key 'way'"),
    ],
)
def test_a_fixture_s_own_share_is_refused_with_its_line(folder, written: str, words: str) -> None:
    line = folder.edit(RIG, "    address: 101\n", f"    address: 101\n    desk: {written}\n") + 1
    (problem,) = folder.problems()
    assert problem.startswith(f"{RIG}:{line}: ")
    assert words in problem


def test_what_cannot_be_read_blames_no_desk(folder) -> None:
    """A rig or a stage with a mistake of its own: names and universes are not called unknown for it."""
    with_desk(folder)
    folder.edit(RIG, "universe: 1", "universe: 0")
    folder.edit(STAGE, "size: 2.0", "size: -2")
    assert len(folder.problems()) == 2


def test_the_addresses_are_those_that_are_obeyed(folder) -> None:
    show = folder.load()
    engine = Engine(Rig.from_fixtures(show.fixtures, show.poses), show.stage, show.network.lost_input)
    obeyed = {(first, last) for first, last in Commands(engine)._table}
    words = {form: form.split("/")[1:] for form in forms() if form not in NOT_OF_THE_ENGINE}
    assert {(w[0], w[-1] if len(w) > 1 and w[-1] != "NAME" else "") for w in words.values()} == obeyed
    rest = {form for form in NOT_OF_THE_ENGINE if not belongs_to_daemon(form)}
    assert rest == {"/arm", "/lock"}


@pytest.mark.parametrize(
    ("address", "form", "name"),
    [
        ("/dark", "/dark", None),
        ("/still", "/still", None),
        ("/sight/solve", "/sight/solve", None),
        ("/walk/confirm", "/walk/confirm", None),
        ("/target/lead/size", "/target/NAME/size", ("target", "lead")),
        ("/sight/foh-1/done", "/sight/NAME/done", ("fixture", "foh-1")),
        ("/floor/riser", "/floor/NAME", ("floor", "riser")),
        ("/fixture/foh-1/desk", "/fixture/NAME/desk", ("fixture", "foh-1")),
        ("/dark/now", None, None),
        ("/target/lead", None, None),
        ("/level/lead", None, None),
        ("dark", None, None),
        ("", None, None),
        ("/", None, None),
    ],
)
def test_an_address_and_what_it_is_about(address: str, form: str | None, name: tuple[str, str] | None) -> None:
    assert form_of(address) == form
    assert name_in(address) == name
