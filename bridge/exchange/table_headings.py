"""The words over the columns of paperwork, and the key of `rig.yaml` that each stands for.

The words are common practice of the trade, in six languages; there is no standard for them.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import NamedTuple

from bridge.errors import FileRefused
from bridge.exchange.table_said import brief
from bridge.show.problems import nearest

AXES = ("at.x", "at.y", "at.z")
TURNS = ("hang.yaw", "hang.pitch", "hang.roll")
IGNORE = "ignore"
KEYS = (
    "name", "number", "profile", "mode", "universe", "address", *AXES, *TURNS, "hang", "hang.sigma", "at_sigma",
    "truss", "unit", "follows", "outside", "lag", "evenness", IGNORE,
)  # fmt: skip
ALSO = {"x": "at.x", "y": "at.y", "z": "at.z", "yaw": "hang.yaw", "pitch": "hang.pitch", "roll": "hang.roll",
        "type": "profile"}  # fmt: skip
"""Other spellings of keys that a map may use."""
LENGTHS = {
    "m": ("m", "metre", "metres", "meter", "meters", "mtr", "metri", "metros"),
    "cm": ("cm", "centimetre", "centimetres", "centimeter", "centimeters", "zentimeter"),
    "mm": ("mm", "millimetre", "millimetres", "millimeter", "millimeters"),
    "ft": ("ft", "foot", "feet", "fuss"),
    "in": ("in", "inch", "inches", "zoll"),
}
ANGLES = {"deg": ("deg", "degree", "degrees", "grad", "gradi", "grados", "degres"), "rad": ("rad", "radian", "radians")}
TIMES = {"s": ("s", "sec", "second", "seconds"), "ms": ("ms", "millisecond", "milliseconds")}
UNITS: dict[str, Mapping[str, Iterable[str]]] = {
    **dict.fromkeys([*AXES, "at_sigma"], LENGTHS),
    **dict.fromkeys([*TURNS, "hang.sigma"], ANGLES),
    "lag": TIMES,
    "address": {"plain": ("plain",), "padded": ("padded",)},
    "universe": {"from 0": ("from 0",)},
}
"""Words that may stand behind a key, in a heading (lengths, angles, times) or in a map."""

_WORDS = {
    "name": "name; fixture name; head name; label; fixture label; head label; bezeichnung; nom; nombre; nome; naam;"
    " geratename",
    "number": "channel; channel number; fixture id; fixture number; fid; id; head; head id; head number; spot;"
    " spot number; number; unit number; desk channel; desk number; console channel; kanal; kanalnummer; geratenummer;"
    " circuit; canal; canale; kanaal; numero; numero de canal; armatuurnummer",
    "profile": "profile; type; fixture type; instrument; instrument type; head type; device type; model; fixture model;"
    " luminaire; luminaire type; typ; gerat; geraet; geratetyp; geraetetyp; scheinwerfer; lampentyp; projecteur;"
    " type d appareil; type de projecteur; appareil; tipo; aparato; proyector; proiettore; apparecchio; armatuur;"
    " armatuurtype",
    "mode": "mode; dmx mode; fixture mode; channel mode; personality; modus; dmx modus; modo",
    "universe": "universe; universe number; u; dmx universe; universum; univers; universo; dmx universum; dmx line;"
    " dmx linie",
    "address": "address; a; dmx; dmx address; dmx start; dmx start address; start address; starting address;"
    " patch; patch address; dmx patch; u a; u address; universe address; dmx u a; dmx channel; start channel;"
    " first channel; absolute address; absolute; abs; adresse; dmx adresse; startadresse; dmx startadresse;"
    " dmx kanal; startkanal; adresse dmx; direccion; direccion dmx; indirizzo; indirizzo dmx; adres; dmx adres;"
    " startadres",
    "at.z": "height; trim; trim height; elevation; hang height; hanging height; hohe; hoehe; hangehohe; hauteur;"
    " altura; altezza; hoogte",
    "hang": "hang; hung; hanging; orientation; mounting; mount; mounted; hanging orientation; ausrichtung; montage;"
    " orientacion; orientamento; montaggio",
    "truss": "truss; position; hanging position; hang position; position name; location; pipe; bar; batten; lx;"
    " lx bar; traverse; zug; haengeposition; hangeposition; pont; perche; porteuse; posicion; vara; posizione;"
    " americana; positie; trek",
    "unit": "unit serial; serial; serial number; s n; sn; asset; asset number; asset id; barcode; seriennummer;"
    " inventarnummer; numero de serie; numero di serie; serienummer",
    "follows": "target; follow; performer",
    "at_sigma": "position sigma",
    IGNORE: "notes; note; remarks; remark; comment; comments; bemerkung; bemerkungen; notiz; remarque; remarques;"
    " notas; opmerking; opmerkingen; purpose; focus",
}  # fmt: skip
_SHORT = {"ch": "channel", "chan": "channel", "chnl": "channel", "no": "number", "nr": "number", "num": "number",
          "nummer": "number", "fix": "fixture", "fxt": "fixture", "inst": "instrument", "pos": "position",
          "addr": "address", "adr": "address", "add": "address", "uni": "universe", "univ": "universe",
          "ht": "height", "coord": "coordinate", "koordinate": "coordinate", "loc": "location"}  # fmt: skip
"""Words that are cut short in headings, wherever they stand in one."""
_CAMEL = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")


def fold(text: str) -> str:
    """A heading without what people vary: case, accents, punctuation, blanks. `Ch. #` and `ch no` are one, and `PosX`
    and `pos x`."""
    plain = _CAMEL.sub(" ", text[:200]).replace("#", " no ").replace("°", " deg ").replace("ß", "ss")
    plain = unicodedata.normalize("NFKD", plain).casefold()
    plain = "".join(char for char in plain if not unicodedata.combining(char))
    return " ".join(re.findall(r"[a-z0-9]+", plain))


def _known() -> dict[str, str]:
    known = {word.strip(): key for key, words in _WORDS.items() for word in words.split(";")}
    for axis in "xyz":
        for word in ("", "position", "coordinate", "location", "posizione", "at"):
            known |= {f"{axis} {word}".strip(): f"at.{axis}", f"{word} {axis}".strip(): f"at.{axis}"}
        known |= {f"pos{axis}": f"at.{axis}"}
    known |= {key.rpartition(".")[2]: key for key in TURNS}
    return known | {key.replace(".", " ").replace("_", " "): key for key in KEYS if key != "unit"}


def _whole(words: str) -> str:
    return " ".join(_SHORT.get(word, word) for word in words.split())


_KNOWN = _known()
DEPENDS = {"unit": "", "fixture": ""}
"""Headings that mean one thing in one office and another in the next: what is below them decides."""
_CLEARLY_UNREAD = re.compile(r"solved .*|aim error .*|faces?|trusted|accepted")


class Heading(NamedTuple):
    """What a column holds: its key, the unit its heading or a map gives ("" for none), and whether a map said so."""

    key: str
    unit: str = ""
    mapped: bool = False


def unit_of(text: str, kinds: Mapping[str, Iterable[str]]) -> str | None:
    """`Metres` -> `m`, of the units that a key may have."""
    word = fold(text)
    return next((unit for unit, words in kinds.items() if word in words), None)


@lru_cache(4096)
def heading_of(text: str) -> Heading | None:
    """What a heading means by itself; None where that is not known, or depends."""
    words = _whole(fold(text))
    if not words:
        return None
    if words in _KNOWN:
        return Heading(_KNOWN[words])
    if _CLEARLY_UNREAD.fullmatch(words):
        return Heading(IGNORE)
    front, _, last = words.rpartition(" ")
    key = _KNOWN.get(front, "")
    unit = unit_of(last, UNITS[key]) if key in UNITS and key not in ("address", "universe") else None
    return Heading(key, unit) if unit else None


def is_heading(text: str) -> bool:
    """Whether a cell reads as a heading that paperwork has."""
    return heading_of(text) is not None or fold(text) in DEPENDS


def read_maps(maps: Mapping[str, str], what: str) -> dict[str, Heading]:
    """Folded heading -> what a person said that it is: `KEY` or `KEY UNIT`. Raises FileRefused for a wrong key."""
    return {fold(heading) or heading: _mapped(heading, said, what) for heading, said in maps.items()}


def _mapped(heading: str, said: str, what: str) -> Heading:
    key, _, unit = said.strip().partition(" ")
    key = ALSO.get(key.lower(), key.lower())
    if key not in KEYS:
        near = nearest(key, (*KEYS, *ALSO))
        hint = f" (nearest is '{near}')" if near else ""
        raise FileRefused(f"{what}: heading {brief(heading)} is mapped to {brief(key)}, allowed is one of"
                          f" {', '.join(KEYS)}{hint}")  # fmt: skip
    if not unit.strip():
        return Heading(key, "", mapped=True)
    kinds = UNITS.get(key, {})
    found = unit_of(unit, kinds)
    if found is None:
        allowed = f"one of {', '.join(kinds)}" if kinds else "no unit"
        raise FileRefused(
            f"{what}: heading {brief(heading)} is mapped to '{key}' in {brief(unit)}, allowed is {allowed}"
        )
    return Heading(key, found, mapped=True)
