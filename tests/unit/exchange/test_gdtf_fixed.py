"""What every slot that is not ours is held at, why, and what becomes an action. Names of sets: common practice."""

from __future__ import annotations

import pytest

from bridge.exchange.found import Found
from bridge.exchange.gdtf import read_gdtf
from bridge.exchange.gdtf_words import says_open
from tests.unit.exchange.made_gdtf import DIMMER, PAN_TILT, Channel, Function, Mode, Set, build_gdtf, wheel

OPEN_FIRST = wheel("Colours", ["Open", "Red", "Blue"])
OPEN_LAST = wheel("Colours", ["Red", "Blue", "Clear"])
WHITE_SECOND = wheel("Colours", ["C1", "C2"], colours=["0.64,0.33,21", "0.3127,0.3290,100.0"])
PICTURES = wheel("Gobos", ["Slot 1", "Slot 2"], media=["dots", ""])


def found_with(*channels: Channel, wheels: str = "") -> Found:
    found = read_gdtf(build_gdtf([Mode("A", [*PAN_TILT, DIMMER, *channels])], wheels=wheels), "a.gdtf")
    assert found.skipped == ()
    return found


def held(function: Function, *more: Function, wheels: str = "", highlight: str = "None") -> tuple[int, str, bool]:
    """The byte of slot 7, why, and whether it is in doubt."""
    found = found_with(Channel("7", [function, *more], highlight=highlight), wheels=wheels)
    profile = found.profiles[0]
    doubt = any(question.startswith("slot 7 ") for question in found.questions)
    return profile.document["fixed"][7], profile.why["fixed.7"], doubt


def sets(*pairs: tuple[str, int]) -> list[Set]:
    return [Set(name, f"{start}/1") for name, start in pairs]


@pytest.mark.parametrize("name", ["Open", "open", "Shutter Open", "OPEN ", "Offen", "Open 1", "Shutter open (default)"])
def test_a_shutter_is_opened_by_the_name_of_a_set(name: str) -> None:
    shutter = Function("Shutter1", sets=sets(("Closed", 0), (name, 32), ("Closed", 64)))
    byte, why, doubt = held(shutter, Function("Shutter1Strobe", "96/1", (1, 25), sets=sets(("Open strobe", 96))))
    assert 32 <= byte <= 63
    assert name.strip() in why
    assert not doubt


def test_the_default_inside_the_open_part_is_taken_as_it_is() -> None:
    assert held(Function("Shutter1", default="41/1", sets=sets(("Closed", 0), ("Open", 32), ("x", 64))))[0] == 41


def test_an_open_part_at_the_end_is_held_at_the_end() -> None:
    assert held(Function("Shutter1", sets=sets(("Closed", 0), ("Open", 250))))[0] == 255


def test_functions_named_open_and_closed_do_as_sets_do() -> None:
    byte, _, doubt = held(
        Function("Shutter1", name="Closed", physical=(0, 0)),
        Function("Shutter1Strobe", "10/1", name="Strobe slow to fast"),
        Function("Shutter1", "200/1", name="Open", physical=(1, 1)),
    )
    assert (byte, doubt) == (255, False)


def test_without_names_the_highlight_opens_the_shutter() -> None:
    byte, why, doubt = held(Function("Shutter1"), Function("Shutter1Strobe", "128/1"), highlight="60/1")
    assert (byte, doubt) == (60, False)
    assert "highlight" in why


def test_a_highlight_that_strobes_is_not_believed() -> None:
    byte, _, doubt = held(Function("Shutter1", physical=(0, 1)), Function("Shutter1Strobe", "128/1"), highlight="200/1")
    assert byte == 127
    assert doubt


def test_a_shutter_of_which_nothing_is_said_is_asked() -> None:
    _, _, doubt = held(Function("Shutter1Strobe", physical=(1, 25)), Function("Shutter1", "200/1", physical=(0, 0)))
    assert doubt


@pytest.mark.parametrize("name", ["No function", "No strobe", "Open"])
def test_a_part_before_the_strobe_is_open_whatever_attribute_it_has(name: str) -> None:
    for attribute in ("NoFeature", "Shutter1", "Shutter1Strobe"):
        closed = Function("Shutter1", name="Closed", physical=(0, 0))
        byte, _, doubt = held(closed, Function(attribute, "8/1", name=name), Function("Shutter1Strobe", "16/1"))
        assert 8 <= byte <= 15
        assert not doubt


@pytest.mark.parametrize(
    ("family", "label", "rank"),
    [
        ("colour wheel", "White/Open", 0),
        ("colour wheel", "Slot 1: Open", 0),
        ("colour wheel", "Wheel 1 open", 0),
        ("colour wheel", "Open / Red", None),
        ("colour wheel", "Warm white", None),
        ("colour wheel", "Open rainbow cw", None),
        ("pattern wheel", "Open hole", 0),
        ("pattern wheel", "Gobo 1", None),
        ("iris", "Max. diameter", 0),
        ("iris", "Closed", None),
        ("shutter", "Strobe open pulse", None),
        ("shutter", "Open pulse", None),
        ("speed", "Standard mode", 1),
        ("speed", "Fast to slow", None),
        ("control", "Lamp off", None),
        ("control", "Default settings", None),
        ("control", "Reset to default", None),
        ("effect", "Macro off", 0),
        ("effect", "Color effects: off", 0),
        ("effect", "Effect 1", None),
        ("control", "No function", 1),
    ],
)
def test_names_of_sets(family: str, label: str, rank: int | None) -> None:
    assert says_open(family, label) == rank


@pytest.mark.parametrize(
    ("names", "wheels", "span"),
    [
        (("Open", "Red", "Blue"), "", (0, 9)),
        (("Red", "White", "Blue"), "", (10, 19)),
        (("Red", "Blue", "No colour"), "", (20, 255)),
        (("", "", ""), OPEN_FIRST, (0, 9)),
        (("", "", ""), OPEN_LAST, (20, 255)),
        (("Slot 1", "Slot 2", "Slot 3"), OPEN_LAST, (20, 255)),
        (("a", "b"), WHITE_SECOND, (10, 255)),
        (("Red", "Open/Blue", "Open"), "", (20, 255)),
    ],
)
def test_a_colour_wheel_stands_open(names: tuple[str, ...], wheels: str, span: tuple[int, int]) -> None:
    slots = [Set(name, f"{10 * n}/1", n + 1) for n, name in enumerate(names)]
    byte, _, doubt = held(Function("Color1", sets=slots, more={"Wheel": "Colours"}), wheels=wheels)
    assert span[0] <= byte <= span[1]
    assert not doubt


def test_a_pattern_wheel_stands_open_by_its_name_or_where_it_has_no_picture() -> None:
    slots = [Set("a", "0/1", 1), Set("b", "10/1", 2), Set("c", "20/1", 1)]
    gobo = Function("Gobo1", sets=slots, more={"Wheel": "Gobos"})
    assert 10 <= held(gobo, Function("Gobo1SelectShake", "128/1"), wheels=PICTURES)[0] <= 19
    named = Function("Gobo1", sets=sets(("Dots", 0), ("No Gobo", 50), ("Stars", 100)))
    assert 50 <= held(named)[0] <= 99


def test_a_wheel_whose_default_is_a_named_colour_is_asked() -> None:
    byte, _, doubt = held(Function("Color1", default="15/1", sets=sets(("Red", 0), ("Blue", 10))))
    assert (byte, doubt) == (15, True)


@pytest.mark.parametrize(
    ("function", "byte"),
    [
        (Function("Iris", physical=(1, 0)), 0),
        (Function("Iris", physical=(0, 1), default="255/1"), 255),
        (Function("Iris", sets=sets(("Closed", 0), ("Open", 255))), 255),
        (Function("Prism1", sets=sets(("Open", 0), ("Prism in", 128))), 0),
        (Function("Prism1", sets=sets(("Prism in", 0), ("Prism out", 200))), 255),
        (Function("Frost1", default="0/1"), 0),
        (Function("Frost1", physical=(1, 0), default="255/1"), 255),
        (Function("CTO", default="128/1"), 128),
        (Function("ColorSub_C", default="0/1"), 0),
        (Function("ColorSub_C", physical=(1, 0), default="255/1"), 255),
        (Function("ColorAdd_R"), 255),
        (Function("ColorAdd_UV"), 0),
        (Function("Blade1A", default="0/1"), 0),
        (Function("Gobo1Pos", default="128/1"), 128),
        (Function("PositionMSpeed", sets=sets(("Slow", 0), ("Fast", 250))), 255),
        (Function("PositionMSpeed", sets=sets(("Tracking", 0), ("Fast to slow", 4))), 0),
        (Function("DimmerCurve", default="40/1", sets=sets(("Standard", 0), ("Square", 32))), 40),
        (Function("Effects1", default="0/1", sets=sets(("No effect", 0), ("Chase", 10))), 0),
        (Function("Control1", default="5/1"), 5),
        (Function("NoFeature", default="7/1"), 7),
    ],
)
def test_nothing_is_in_the_beam_and_nothing_happens(function: Function, byte: int) -> None:
    assert held(function)[0] == byte


def test_a_default_that_is_a_command_is_not_held() -> None:
    control = Function("Control1", default="200/1", sets=sets(("Idle", 0), ("Lamp off", 190), ("Reset", 210)))
    assert held(control)[0] == 0


def test_colours_follow_the_highlight_where_it_is_in_use() -> None:
    colours = [
        Channel("7", [Function("ColorAdd_R")], highlight="255/1"),
        Channel("8", [Function("ColorAdd_GY")], highlight="0/1"),
        Channel("9,10", [Function("ColorAdd_B")], highlight="128/1"),
    ]
    assert found_with(*colours).profiles[0].document["fixed"] == {7: 255, 8: 0, 9: 128, 10: 128}


def test_without_highlight_the_defaults_of_colours_count_where_any_is_on() -> None:
    warm = Channel("7", [Function("ColorAdd_WW", default="200/1")])
    red, dark = Channel("8", [Function("ColorAdd_R")]), Channel("7", [Function("ColorAdd_WW")])
    assert found_with(warm, red).profiles[0].document["fixed"] == {7: 200, 8: 0}
    assert found_with(dark, red).profiles[0].document["fixed"] == {7: 255, 8: 255}


def test_every_slot_of_the_footprint_is_held_with_a_reason() -> None:
    found = found_with(Channel("9,12", [Function("Gobo1Pos", default="32768/2")]))
    profile = found.profiles[0]
    assert profile.document["fixed"] == {7: 0, 8: 0, 9: 128, 10: 0, 11: 0, 12: 0}
    assert profile.why["fixed.10"] == "not used by the file"
    assert all(profile.why[f"fixed.{slot}"] for slot in profile.document["fixed"])


def test_reset_and_lamp_are_actions_and_their_times_are_asked() -> None:
    control = Channel(
        "7",
        [
            Function("NoFeature", name="No function"),
            Function("LampControl", "20/1", sets=sets(("Lamp on", 20), ("", 30), ("Lamp off", 40))),
            Function("FixtureGlobalReset", "100/1", sets=sets(("Reset all", 100))),
            Function("GoboWheelReset", "150/1", sets=sets(("", 150))),
            Function("Control1", "200/1", name="No reset"),
        ],
        "Base",
    )
    found = found_with(control)
    actions = found.profiles[0].document["actions"]
    assert {name: action["slots"][7] for name, action in actions.items()} == {
        "lamp-on": 24,
        "lamp-off": 69,
        "reset": 124,
        "gobo-wheel-reset": 174,
    }
    assert found.profiles[0].document["fixed"] == {7: 0}
    assert any(question.startswith("actions: ") for question in found.questions)


def test_channels_beyond_a_universe_are_said_and_make_no_action() -> None:
    found = found_with(Channel("540", [Function("FixtureGlobalReset", name="Reset")], "Base"))
    assert "actions" not in found.profiles[0].document
    assert any("beyond the 512 slots" in question for question in found.questions)


@pytest.mark.parametrize(("rate", "asked"), [(0.0, False), (0.3, True)])
def test_a_strobe_without_names_that_begins_with_a_rate_is_asked(rate: float, asked: bool) -> None:
    _, _, doubt = held(Function("Shutter1Strobe", physical=(rate, 25)))
    assert bool(doubt) == asked


@pytest.mark.parametrize(
    ("attribute", "names", "asked"),
    [
        ("LampControl", ("Lamp off", "Lamp on"), True),
        ("LampControl", ("No function", "Lamp on"), False),
        ("NoFeature", ("Off", "Whatever"), False),
        ("PositionEffect", ("Effect 1", "Effect 2"), True),
        ("ColorMacro1", ("Sunset", "Sunrise"), True),
        ("ColorMacro1", ("White", "Red"), False),
        ("ColorMacro1", ("", "Red"), False),
        ("PanRotate", ("Clockwise", "Counter"), True),
        ("Gobo1PosRotate", ("Clockwise", "Counter"), False),  # of an open wheel
    ],
)
def test_a_default_inside_a_command_or_an_effect_is_asked(attribute: str, names: tuple[str, ...], asked: bool) -> None:
    _, _, doubt = held(Function(attribute, sets=[Set(name, f"{100 * n}/1") for n, name in enumerate(names)]))
    assert bool(doubt) == asked
