"""Names of channel sets as makers write them: which say that light passes, and which never do (no source)."""

from __future__ import annotations

import pytest

from bridge.exchange.gdtf_words import says_open, says_shut

OPEN = {
    "shutter": (
        "Shutter Open (8 - 15)|No function (open)|LEDs on|LEDs On|Light on|Full|Open 2|Opened|Steady|"
        "Constant on|Shutter: Open|Shutter opened|No strobe|Strobe off|No Strobing|Strobe: open|"
        "Open (no strobe)|Shutter open, no strobe|LED full on|On (open)|Shutter1 Open|always open|"
        "Lamp full|Open shutter|Continuous|No Function|Shutter/Strobe Open|Strobe Open|Shutter Offen|"
        "Static open|Shutter fully open|Open Shutter 100%|Blackout off|Light ON|Aperto|Ouvert|OPEN|"
        "Open_2|Shutter_Open|Open white|Open/Full|"
    ),
    "colour wheel": (
        "Open|White|Color 0 (open)|Slot 0 Open|White/Open|Open/White|Open / White|Empty slot|Open Color|"
        "Open white|No Color|Clear|Colour 1 (White)|open (white)|Slot 1: Open|None|Full Open|White 1|"
        "Open (0)|No filter|Blank|No Function|Open slot|Weiß|Weiss|Color Open|Position 1 (open)|"
        "White (open)|1 Open|Color 1 - White|Color wheel open|Offen|Blanco|Blanc|Bianco|"
    ),
    "pattern wheel": (
        "Open|Gobo 0 Open|Open hole|No Gobo (open)|Open (no gobo)|No gobo|Gobo Open|Slot 1 (open)|Empty|"
        "Gobo 1 (Open)|Open Beam|Wheel open|No Function|Gobo wheel open|Open position|Hole|Gobo Off|"
        "Gobo out|No pattern|Clear|Open (static)|Open 1|Blank|Static gobo open|Gobowheel open|"
        "No Animation|Animation off|Anim. wheel out|Removed|Animation Wheel Out|Out of beam|"
    ),
    "prism": (
        "Open|Prism off|Out|No Prism|Open (no prism)|Inactive|Prism inactive|Prism: open|0|"
        "No prism effect|Prism 1 off|Prism out|Prism open|Off|No effect|Prism Off (open)|Prism excluded|"
        "Not inserted|Prism disabled|Without prism|No Function|Prism removed|0 Off|Open / No prism|Empty|"
    ),
    "frost": (
        "Open|No frost|Frost open|Frost out|Off|No Frost|Frost Off|0%|Frost: off|No effect|out|Not inserted|Frost 0%|"
    ),
    "iris": (
        "Open|Iris open|Max|Iris open 100%|Max. diameter|Maximum size|Fully open|Iris full open|Opened|100%|Large|Big|"
    ),
    "control": (
        "No function|No effect|Nothing|No change|Normal operation|Idle|--|Reserved|No Func|"
        "No function (default)|No function / reserved|no control|No command|Unused range|None|disabled|"
        "Normal|No special function|-|No Function 1|Not in use|Reserved for future use|Neutral|"
    ),
}

NOT_OPEN = {
    "shutter": (
        "Closed|Close|Shutter close|Strobe open->close|Open pulse|Pulse open|Random Open|Opening pulse|"
        "Open Close|Open/Close|Strobe|Blackout|Dark|LED off|Fast open slow close|Open to closed|"
        "Closed to open|Open -> Closed|Open strobe|Light off|Closing|No light|"
    ),
    "colour wheel": (
        "Open / Red|Red/Open|Open+Red|Open - Red|White + Red|White/Red|Red|Warm White|White 3200K|CTO|"
        "Half white/blue|Open Red|Open to red|Open→Red|Cool white|open & red|White, Red|Scroll white|"
        "White to Red|Open-Red|Split Open/Red|"
    ),
    "pattern wheel": ("Gobo 1|Open shake|Gobo 1 shake|Open spin|Dots open|Open circles|Open star|Breakup open|Closed|"),
    "prism": ("Prism|Prism in|3-facet|Prism on|Inserted|Prism 1|Prism insertion|"),
    "frost": ("Frost|Frost on|Frost in|Light frost|Pulse open|100%|"),
    "iris": ("Closed|Min|Open -> closed|Iris closed|Open to close|Pulse opening|Open→min|Max. to min. diameter|"),
    "control": ("Reset|Lamp on|Display off|Lamp off|"),
}

SHUT = ("shutter", "iris", "colour wheel", "pattern wheel", "prism", "control")


SPLIT = [
    ("colour wheel", "Open|Red"),
    ("colour wheel", "Open / Color 1"),
    ("colour wheel", "White + Colour 2"),
    ("colour wheel", "Color 8/White"),
    ("colour wheel", "Open - Color 1"),
    ("pattern wheel", "Open/Gobo 1"),
    ("pattern wheel", "Open - Gobo 1"),
]


def _words(table: dict[str, str]) -> list[tuple[str, str]]:
    return [(family, word) for family, words in table.items() for word in words.split("|") if word]


@pytest.mark.parametrize(("family", "word"), _words(OPEN))
def test_a_name_of_an_open_part_is_known(family: str, word: str) -> None:
    assert says_open(family, word) is not None
    assert not (family in ("shutter", "control") and says_shut(family, word))


@pytest.mark.parametrize(("family", "word"), [*_words(NOT_OPEN), *SPLIT])
def test_no_other_name_is_taken_for_an_open_part(family: str, word: str) -> None:
    assert says_open(family, word) is None
    assert says_shut(family, word) or family not in SHUT
