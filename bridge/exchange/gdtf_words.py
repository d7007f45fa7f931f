"""What attributes and names of sets in GDTF files mean for a head that is to give open, white, steady light.

The attributes are those of DIN SPEC 15800, annex (from memory); the names of sets are what makers write (common
practice, no source).
"""

from __future__ import annotations

import re
from functools import lru_cache

from bridge.exchange.gdtf_open import idle, open_rank

_FAMILIES = tuple(
    (family, re.compile(pattern))
    for family, pattern in (
        ("shutter", r"shutter\d*"),
        ("iris", r"iris"),
        ("colour wheel", r"color\d*|color\d*wheelindex"),
        ("pattern wheel", r"gobo\d*|gobo\d*wheelindex|animationwheel\d*|animationsystem\d*"),
        ("prism", r"prism\d*"),
        ("frost", r"frost\d*"),
        ("uv", r"coloradd_uv"),
        ("colour", r"coloradd_\w+|colorrgb_(red|green|blue)|hsb_brightness|cie_brightness"),
        ("filter", r"colorsub_\w+|colorrgb_(cyan|magenta|yellow)|hsb_saturation"),
        ("temperature", r"(cto|ctc|ctb|tint)\d*"),
        ("blade", r"blade\d+[ab]|bladesoft\d*[ab]"),
        ("control", r"control\d*|\w*reset|lamp\w*|fans?\d*|display\w*|function\d*|blackoutmode"),
        ("nothing", r"nofeature|dummy|"),
        ("mode", r"\w*modes?|\w*curve|ledfrequency|\w*calibration\w*|\w*consistency|\w*settings\w*"),
        ("speed", r"\w*mspeed|\w*speed"),
        (
            "effect",
            r"strobe\w*|shutter\w+|iris\w+|\w*effects?\d*\w*|\w*macros?\w*|\w*random\w*|\w*audio|\w*spin|\w*shake"
            r"|\w*pulse\w*|\w*rate|\w*rotate|\w*ramp",
        ),
    )
)
FIRST_FAMILIES = tuple(family for family, _ in _FAMILIES)
"""Of several on one channel, the one that decides what it is held at: the first."""

OPEN_TO = {"shutter": "max", "iris": "max", "prism": "min", "frost": "min", "blade": "min", "filter": "min"}
"""At which end of its physical range a function lets the light through."""

_EFFECT = re.compile(
    r"strob|puls|random|rand\b|flash|fast|slow|clos|zu\b|shak|rot|spin|scroll|rainbow|audio|sound|macro|effect|\bcw\b|"
    r"\bccw\b|blackout|dark|lightning|sync"
)
_GOOD = {
    "filter": r"(\W|\d)*(open|off|out|none|min|white|0 ?%)(\W|\d)*",
    "blade": r"(open(ed)?|out|off|min)(\W|\d)*",
    "speed": r".*\b(track(ing)?( mode)?|fast(est)?|max(imum)?( speed)?|no (function|delay|effect)|none|off|full)\b.*",
    "effect": r"(\W|\d)*((effects?|macros?|colou?rs?|rotation|audio|sound|music|animation|wheel)(\W|\d)+)*"
    r"(stop(ped)?|off|none|open|out|disabled|idle|manual|no rotation)(\W|\d)*",
}
_DANGER = re.compile(
    r"reset|lamp|\boff\b|shut ?down|reboot|calib|\btest\b|black ?out|\bhome\b|start|standby|sleep|factory|update"
    r"|ignit|strik"
)
_CLOSED = re.compile(r"\b(no light|clos\w*|blackout|dark|shut|geschlossen|zu|ferm\w+|chius\w+|cerrad\w+|off)\b")
_STEADY = re.compile(r"open|offen|ouvert|aperto|abierto|steady|constant|no strob|strobe? off")
_FREE_OF_IDLE = frozenset({"shutter", "iris", "colour", "uv"})


@lru_cache(4096)
def family_of(attribute: str) -> str:
    """shutter, iris, colour wheel ... or "other"."""
    name = attribute[:80].casefold()
    return next((family for family, pattern in _FAMILIES if pattern.fullmatch(name)), "other")


@lru_cache(4096)
def says_open(family: str, label: str) -> int | None:
    """How well a set's name says that the light passes, or that nothing happens: 0 best; None where it does not."""
    name = label.strip().casefold()
    if not name:
        return None
    rank = open_rank(family, name)
    if rank is not None:
        return rank
    if family == "effect" and _STEADY.search(name) and open_rank("shutter", name) == 0:
        return 0
    good = _GOOD.get(family)
    if family == "speed" and re.search(r"slow|min", name):
        return None
    if good and re.fullmatch(good, name) and (family in ("speed", "effect") or not _EFFECT.search(name)):
        return 0
    return 1 if family not in _FREE_OF_IDLE and idle(name) else None


@lru_cache(4096)
def says_shut(family: str, label: str) -> bool:
    """Whether a set's name says what is not wanted: light shut off, something in the beam, a command."""
    name = label.strip().casefold()
    if not name:
        return False
    if family == "shutter":
        return says_open(family, label) is None and bool(_CLOSED.search(name) or _EFFECT.search(name))
    if family in ("control", "nothing"):
        return bool(_DANGER.search(name))
    if family == "iris":
        return says_open(family, label) is None and bool(_CLOSED.search(name) or re.search(r"puls|random|\bmin", name))
    return family in ("colour wheel", "pattern wheel", "prism", "effect")


def says_shutter_open(label: str) -> bool:
    """Whether a part of a shutter's channel that is none by its attribute says that it is open all the same."""
    rank = says_open("shutter", label)
    return rank is not None and (rank > 0 or _STEADY.search(label.casefold()) is not None)


def says_dark(label: str) -> bool:
    """Whether a name says that there is no light, and nothing that flashes."""
    name = label.strip().casefold()
    return bool(_CLOSED.search(name)) and not re.search(r"strob|puls|rand|flash|fast|slow|open|>", name)


def flashes(label: str) -> bool:
    """Whether a name speaks of light that flashes, pulses or goes out."""
    name = label.strip().casefold()
    return bool(_EFFECT.search(name) or _DANGER.search(name))
