"""Channels of heads as files of daily life have them, each with the values that keep its light open, white, steady.

From memory of the format (DIN SPEC 15800, data versions 0.88 to 1.2) and of how such files are written; all invented.
Values are coarse bytes, 0 .. 255, also of channels of several bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from random import Random

Physical = tuple[float, float]
ANY: tuple[tuple[int, int], ...] = ((0, 255),)


@dataclass
class Set:
    name: str
    start: int
    slot: int = 0
    physical: Physical | None = None


@dataclass
class Fn:
    """`master`: (key of the part that selects it, name of its function or "", from, to)."""

    attribute: str
    name: str = ""
    start: int = 0
    physical: Physical = (0.0, 1.0)
    sets: Sequence[Set] = ()
    master: tuple[str, str, int, int] | None = None
    wheel: str = ""
    apart: bool = False
    fade: float = 0.0


@dataclass
class Part:
    """A channel. `good`: coarse ranges that keep the light on; `role`: pan, tilt, dimmer, zoom, focus or "".

    `needs`: what the file leaves so open that asking is right. `relations`: a virtual dimmer over these attributes.
    """

    fns: list[Fn]
    geometry: str = "Head"
    size: int = 1
    default: int = 0
    highlight: int | None = None
    good: Sequence[tuple[int, int]] = ANY
    role: str = ""
    key: str = ""
    dmx_break: str = "1"
    virtual: bool = False
    offsets: tuple[int, ...] = ()
    master: str = "None"
    wheels: dict[str, tuple[list[str], str]] = field(default_factory=dict)

    @property
    def attribute(self) -> str:
        return self.fns[0].attribute


def cuts(rng: Random, count: int, first: int = 0) -> list[int]:
    """Starts of `count` ranges from `first`, each of a few values at least."""
    room = 256 - first
    wide = [rng.uniform(0.4, 1.6) for _ in range(count)]
    total, out, at = sum(wide), [], float(first)
    for each in wide:
        out.append(min(int(at), 255 - 3 * (count - len(out))) if out else first)
        at += each / total * room
    return out


def ranges(starts: Sequence[int], wanted: Sequence[bool]) -> list[tuple[int, int]]:
    ends = [*(start - 1 for start in starts[1:]), 255]
    return [(a, b) for a, b, good in zip(starts, ends, wanted, strict=True) if good]


def middle(span: tuple[int, int]) -> int:
    return (span[0] + span[1]) // 2


def shutter(rng: Random) -> Part:
    """Closed, open and strobes in one channel, in three ways of writing it."""
    open_, closed = (
        rng.choice(["Open", "Shutter Open", "open", "Shutter open", "On", "LED On", "Open ", "Shutter: Open"]),
        rng.choice(["Closed", "Shutter Closed", "Close", "Shutter closed", "Blackout", "LED Off"]),
    )
    strobe = [("Strobe", "Strobe slow -> fast"), ("StrobePulse", "Pulse effect"), ("StrobeRandom", "Random strobe")]
    strobe += [("StrobePulseOpen", "Opening pulse"), ("StrobeEffect", "Lightning"), ("StrobeRandomPulse", "Rand Pulse")]
    order = rng.choice(["co", "cosopo", "os", "cso", "cosporo", "oso", "cosesosos"])
    starts = cuts(rng, len(order))
    style = rng.choice(["functions", "sets", "mixed", "grouped"])
    fns, sets = [], []
    for number, (letter, start) in enumerate(zip(order, starts, strict=True)):
        name = {"o": open_, "c": closed}.get(letter)
        kind, words = rng.choice(strobe) if letter in "sper" else ("", "")
        if letter == "s":
            kind, words = strobe[0]
        if style == "sets":
            sets.append(Set(name or words, start, physical=(1, 1) if letter == "o" else (0, 0)))
        elif style == "mixed" and name:
            physical = (1.0, 1.0) if letter == "o" else (0.0, 0.0)
            fns.append(Fn("Shutter1", f"Shutter1 {number}", start, physical, [Set(name, start)]))
        elif style == "grouped" and letter == "c" and order[number + 1 : number + 2] == "o":
            both = [Set(name or "", start), Set(open_, starts[number + 1], physical=(1.0, 1.0))]
            fns.append(Fn("Shutter1", "Shutter1", start, (0.0, 1.0), both))
        elif style == "grouped" and letter == "o" and number and order[number - 1] == "c":
            continue
        else:
            fns.append(
                Fn(
                    f"Shutter1{kind}",
                    name or words,
                    start,
                    (0.0, 1.0) if name else (0.5, 20.0),
                    [Set("", start), *([Set("Slow", start), Set("Fast", start + 2)] if not name else [])][
                        : rng.choice([0, 0, 3])
                    ]
                    if not name
                    else (),
                )
            )
    if style == "sets":
        fns = [Fn("Shutter1", "Shutter1 1", 0, (0.0, 1.0), sets)]
    good = ranges(starts, [letter == "o" for letter in order])
    default = rng.choice([0, middle(good[-1]), middle(good[0])])
    return Part(fns, default=default, highlight=rng.choice([None, middle(good[0])]), good=good)


def strobe_alone(rng: Random) -> Part:
    """A strobe channel beside the dimmer: nothing at 0."""
    start = rng.choice([5, 8, 10, 16])
    name = rng.choice(["No function", "Open", "No strobe", "Off", "Shutter open"])
    if rng.random() < 0.5:
        fns = [Fn("Shutter1", name, 0, (1.0, 1.0), [Set(name, 0)]), Fn("Shutter1Strobe", "Strobe", start, (0.3, 25.0))]
    else:
        fns = [Fn("Shutter1Strobe", "Shutter1Strobe 1", 0, (0.3, 25.0), [Set(name, 0), Set("Slow -> Fast", start)])]
    return Part(fns, good=[(0, start - 1)])


def strobe_modes(rng: Random) -> list[Part]:
    """A channel that chooses the strobe's kind, and a shutter whose strobes hang on it."""
    kinds = ["StrobeModeShutter", "StrobeModePulse", "StrobeModeRandom"]
    choosing = [Fn(kind, kind, 85 * n) for n, kind in enumerate(kinds)]
    first = rng.choice(["Closed", "Open"])
    fns = [Fn("Shutter1", "Closed", 0, (0, 0))] if first == "Closed" else []
    fns.append(Fn("Shutter1", "Open", 16 * len(fns), (1, 1), [Set("Open", 16 * len(fns))]))
    for n, kind in enumerate(["Shutter1Strobe", "Shutter1StrobePulse", "Shutter1StrobeRandom"]):
        fns.append(Fn(kind, kind, 64, (0.5, 20.0), master=("strobe", kinds[n], 85 * n, 84 + 85 * n)))
    start = fns[-4].start
    return [Part(choosing, key="strobe"), Part(fns, default=rng.choice([start, 0]), good=[(start, 63)])]


def iris(rng: Random) -> Part:
    """Open at one end by its physical values or by names, pulses above."""
    top = rng.choice([256, 256, 192, 180])
    turned = rng.random() < 0.5
    physical = rng.choice([(1.0, 0.0), (100.0, 5.0)]) if turned else (0.0, 1.0)
    names = rng.random() < 0.6
    words = ("Open", "Closed") if turned else ("Closed", "Open")
    last = top - 1
    sets = [Set(words[0], 0), Set("", 2), Set(words[1], last)] if names else []
    fns = [Fn("Iris", "Iris 1", 0, physical, sets)]
    if top < 256:
        fns += [Fn("IrisPulseOpen", "Pulse opening", top, (0.2, 3.0)), Fn("IrisRandomPulseClose", "Random", 240)]
    good = [(0, 5)] if turned else [(last - 5, last)]
    clear = middle(good[0]) if not names else (0 if turned else last)
    return Part(fns, default=rng.choice([clear, clear, 0]), highlight=rng.choice([None, clear]), good=good)


def pattern(rng: Random, number: int = 1, kind: str = "Gobo") -> list[Part]:
    """A wheel with its open slot first or last, indexing, shakes and a spin; its rotation in a channel behind it."""
    slots, attribute = rng.randint(4, 9), f"{kind}{number}"
    open_ = rng.choice(
        [
            "Open",
            "open",
            "Open Gobo" if kind == "Gobo" else "White",
            "No gobo" if kind == "Gobo" else "Open/White",
            "Gobo Open" if kind == "Gobo" else "Open White",
            "Empty" if kind == "Gobo" else "No colour",
        ]
    )
    words = [f"{kind} {each}" if kind == "Gobo" else rng.choice(_COLOURS) for each in range(1, slots)]
    first = kind != "Gobo" or rng.random() < 0.8
    names = [open_, *words] if first else [*words, open_]
    extra = rng.choice([0, 1, 2])
    starts = cuts(rng, slots + extra)
    wheel = f"{kind} Wheel {number}{rng.choice(['', ' ', '-'])}{rng.randint(0, 999)}"
    sets = [Set(name, start, slot) for slot, (name, start) in enumerate(zip(names, starts, strict=False), 1)]
    empty = rng.random() < 0.25
    if empty and first:  # the set has no name: the slot of the wheel does
        sets[0].name = ""
    if rng.random() < 0.3:
        fns = [Fn(attribute, each.name or attribute, each.start, (1, 1), [each], wheel=wheel) for each in sets]
    else:
        fns = [Fn(attribute, f"{attribute} 1", 0, (1, slots), sets, wheel=wheel)]
    ends = [f"{attribute}WheelSpin", f"{attribute}WheelRandom" if kind == "Color" else f"{attribute}SelectShake"]
    fns += [Fn(ends[each], ends[each], starts[slots + each], (-90.0, 90.0), wheel=wheel) for each in range(extra)]
    at = 0 if first else slots - 1
    good = ranges(starts, [each == at for each in range(slots + extra)])
    wheels = {wheel: (names, open_)}
    part = Part(fns, default=rng.choice([middle(good[0]), good[0][0]]), good=good, wheels=wheels)
    if not first and rng.random() < 0.3:
        part.default = 0
    parts = [part]
    if kind == "Gobo" and rng.random() < 0.6:
        sets = [Set("Index", 0), Set("CCW", 128), Set("Stop", 190), Set("CW", 194)][: rng.choice([0, 4])]
        rotation = Fn(f"{attribute}PosRotate", "Rotation", 128, (-120.0, 120.0))
        parts.append(Part([Fn(f"{attribute}Pos", "Index", 0, (0.0, 360.0), sets), rotation], size=rng.choice([1, 2])))
    return parts


_COLOURS = (
    "Red",
    "Deep Blue",
    "Congo",
    "CTO 3200K",
    "1/2 CTB",
    "Grün",
    "Blue/Red",
    "Color 7",
    "Open + Red",
    "Pink 128",
)


def additive(rng: Random) -> list[Part]:
    letters = rng.choice(["RGB", "RGBW", "RGBAL", "RGBW", "RGBAW"])
    lit, size = rng.choice(["highlight", "default", "both"]), rng.choice([1, 1, 2])
    return [
        Part(
            [
                Fn(
                    f"ColorAdd_{each}",
                    f"ColorAdd_{each} 1",
                    0,
                    (0.0, 1.0),
                    [Set("min", 0), Set("max", 255)][: rng.choice([0, 2])],
                )
            ],
            size=size,
            default=255 if lit != "highlight" else 0,
            highlight=255 if lit != "default" else None,
            good=[(255, 255)],
        )
        for each in letters
    ] + ([Part([Fn("ColorAdd_UV")], good=[(0, 0)])] if rng.random() < 0.2 else [])


def subtractive(rng: Random) -> list[Part]:
    size, high = rng.choice([1, 1, 2]), rng.choice([None, 0])
    out = [Part([Fn(f"ColorSub_{each}")], size=size, highlight=high, good=[(0, 2)]) for each in "CMY"]
    if rng.random() < 0.5:
        name, physical = rng.choice([("CTO", (7000.0, 2700.0)), ("CTO", (0.0, 1.0)), ("CTC", (8000.0, 2500.0))])
        out.append(Part([Fn(name, f"{name} 1", 0, physical)], good=[(0, 2)]))
    if rng.random() < 0.3:
        out.append(Part([Fn("ColorMixMSpeed")]))
    return out
