"""Names of channel sets that say "the light passes", or "nothing happens here", word by word.

A name says so when it has a word for it, and no word that is not known: "White / Open" does, "Open / Red" does not.
Words are what makers write (common practice, no source).
"""

from __future__ import annotations

import re


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_OPEN = _words("open opened opens offen ouvert aperto abierto otwarty")
_GONE = _words(
    "no not none non nil without w/o ohne kein keine sans off out removed excluded disabled "
    "inactive deactivated empty blank clear nothing unused idle"
)
_WHITE = _words("white weiß weiss blanc blanco bianco")
_PLACE = _words("disc disk position pos slot hole wheel the full fully static fixed default indexed")
_NOTHING = _words("function functions func effect effects macro")

_GOOD = {
    "shutter": _OPEN | _words("on full steady constant continuous static nostrobe"),
    "iris": _OPEN | _words("max maximum largest biggest large big off out none no"),
    "colour wheel": _OPEN | _GONE | _WHITE,
    "pattern wheel": _OPEN | _GONE | _words("hole"),
    "prism": _OPEN | _GONE,
    "frost": _OPEN | _GONE | _words("min minimum"),
    "temperature": _OPEN | _GONE | _words("native"),
}
_FILLING = {
    "shutter": _words("shutter led leds light lamp beam fully always the is white position output default nofunction"),
    "iris": _words("iris diameter size aperture beam full fully the"),
    "colour wheel": _PLACE | _NOTHING | _words("color colors colour colours filter filters farbe"),
    "pattern wheel": _PLACE
    | _NOTHING
    | _WHITE
    | _words("gobo gobos gobowheel pattern patterns animation anim beam of"),
    "prism": _PLACE | _NOTHING | _words("prism prisms prisma inserted facet"),
    "frost": _PLACE | _NOTHING | _words("frost inserted filter"),
    "temperature": _NOTHING | _words("cto ctb ctc ct filter correction tint color colour temperature"),
}
_IDLE = (_GONE - {"off", "out"}) | _words("reserved reserve safe neutral default normal normally standard disable")
_IDLE_FILLING = _words(
    "function functions func feature features action actions effect effects macro macros "
    "change command commands operation operations use used in control special range for future strobe rotation "
    "mode speed"
)
_NUMBERED = re.compile(r"\bno\.? ?(?=\d)")
_NO_STROBE = re.compile(
    r"\b(no|without|w/o|ohne|kein\w*) +(strob\w*|flash\w*|puls\w*|effects?)\b|\bstrob\w*\W*(off|open|disabled)\b"
    r"|\bblack ?out +(off|disabled)\b"
)
_NO_FUNCTION = re.compile(r"\bno func\w*")
_SHARE = re.compile(r"(\d+) ?%")
_NO_SHARE = {"shutter": 100, "iris": 100, "prism": 0, "frost": 0, "temperature": 0}
_WORD = re.compile(r"w/o|[^\W\d_]+|\d+")
_ON_THE_WAY = re.compile(r"[>→»…<]|\.\.|\b(to|bis|until)\b")
_MOST_NUMBER = 300
_SPLIT = ("colour wheel", "pattern wheel")


def open_rank(family: str, name: str) -> int | None:
    """0: the name (lower case) says that light passes as it is; 3: only that nothing happens; None: neither."""
    if family not in _GOOD or _ON_THE_WAY.search(name):
        return None
    name = _NUMBERED.sub("", name)
    if family == "shutter":
        name = _NO_FUNCTION.sub(" nofunction ", _NO_STROBE.sub(" nostrobe ", name))
    share = _SHARE.search(name)
    if share is not None:
        if int(share[1][:4]) != _NO_SHARE.get(family):
            return None
        name = _SHARE.sub(" open ", name)
    if name == "0" and family in ("prism", "frost"):
        return 0
    words = set(_WORD.findall(name))
    numbers = {word for word in words if word.isdecimal()}
    good, filling = _GOOD[family], _FILLING[family]
    if any(len(each) > 3 or int(each) > _MOST_NUMBER for each in numbers):
        return None
    if words & good and not words - numbers - good - filling:
        return 0 if family not in _SPLIT or _whole(name, good) else None
    return 3 if family == "shutter" and idle(name.replace("nofunction", "none")) else None


def _whole(name: str, good: frozenset[str]) -> bool:
    """No half of it is another slot: "Open / Color 1" and "Open - Gobo 2" are two, "Color 1 - Open" is one."""
    halves = [set(_WORD.findall(half)) for half in re.split(r"(?<!\bw)[/+&|]", name)]
    before, dash, after = name.rpartition("-")
    shared = dash and set(_WORD.findall(before)) & good and re.search(r"[a-z].*\d", after)
    return all(half & good for half in halves if half) and not (shared and not set(_WORD.findall(after)) & good)


def idle(name: str) -> bool:
    """Whether a name (lower case) says that nothing happens."""
    if re.fullmatch(r"[-–—. ]+|n/?a", name):
        return True
    name = _NUMBERED.sub("", name)
    words = {word for word in _WORD.findall(name) if not word.isdecimal()}
    return bool(words & _IDLE) and not words - _IDLE - _IDLE_FILLING
