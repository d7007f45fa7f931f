"""Fixture types as files of daily life have them, with the truth about each mode by construction: `make(seed)`.

From memory of the format (DIN SPEC 15800, data versions 0.88 to 1.2); makers and products are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from random import Random

from tests.unit.exchange import lifelike_more as more
from tests.unit.exchange import lifelike_parts as parts
from tests.unit.exchange.lifelike_parts import Fn, Part, Set

Ends = tuple[float, float, float]
HABITS = ("lines", "wide", "two", "no initial", "shuffled", "logicals", "human", "few", "mirrored")
HEADS = ("spot", "wash", "pixels", "twin")
NO_HEADS = ("tilt only", "hoist", "media", "dimmer", "bar")


@dataclass
class Truth:
    """Of one mode. `why_not`: it can be no profile. `pan`, `tilt`: (function's end, of full; degrees from, to).

    `zoom`: rows of (raw, degrees); None where the file has none, `zoom_stub` where its angles mean nothing.
    `light`: (attribute, offsets, coarse ranges) of what must hold still. `copies`: where the geometries `inside`, which
    are referred to several times, begin.
    """

    name: str
    parts: list[Part]
    geometry: str = "Base"
    why_not: str = ""
    dimmer_to: int = 255  # coarse: above it the channel strobes
    footprint: int = 0
    channels: dict[str, tuple[int, ...]] = field(default_factory=dict)
    pan: Ends = (0.0, 0.0, 0.0)
    tilt: Ends = (0.0, 0.0, 0.0)
    zoom: tuple[tuple[int, float], ...] | None = None
    zoom_stub: bool = False
    light: list[tuple[str, tuple[int, ...], tuple[tuple[int, int], ...]]] = field(default_factory=list)
    copies: tuple[int, ...] = ()
    inside: tuple[str, ...] = ()


@dataclass
class Life:
    """A fixture type. `names`: of base, yoke, head and beam; `habits`: of the program that writes it."""

    seed: int
    kind: str
    version: str
    maker: str
    name: str
    names: tuple[str, str, str, str]
    modes: list[Truth]
    habits: frozenset[str] = frozenset()


def make(seed: int) -> Life:
    """A fixture type with 1 to 30 modes; mostly heads."""
    rng = Random(seed)
    kind = rng.choice([*HEADS[:2] * 4, *HEADS, rng.choice(NO_HEADS)])
    names = rng.choice(
        [("Base", "Yoke", "Head", "Beam"), ("Body", "Arm", "Head", "Lens"), ("base main", "yoke 1", "head 1", "beam 1")]
        + [("Base", "Yoke", "Head", "Beam")] * 3
    )
    count = rng.choice([1, 1, 2, 2, 3, 4, 6, 30] if rng.random() < 0.2 else [1, 1, 2, 2, 3, 4])
    habits = frozenset(each for each in HABITS if rng.random() < 0.15)
    modes = [_mode(rng, kind, names, each, "two" in habits) for each in range(count)]
    maker = rng.choice(["Harbour Works", "Quay Light", "Mole & Söhne", "Pier Lumière"])
    name = (
        f"{rng.choice(['Cutter', 'Dory', 'Sloop'])} {rng.randint(100, 999)} {rng.choice(['Spot', 'Wash', 'Profile'])}"
    )
    return Life(seed, kind, rng.choice(["0.88", "1.0", "1.1", "1.1", "1.2", "1.2"]), maker, name, names, modes, habits)


def _mode(rng: Random, kind: str, names: tuple[str, str, str, str], number: int, two: bool) -> Truth:
    words = [
        "Standard",
        "Mode 1 - 16 Bit / Extended",
        "Basic",
        "Größe M",
        "Full (54 ch)",
        'Ext. <RGB> & "more"',
        "24ch",
    ]
    name = f"{rng.choice(words)}{f' {number}' if number else ''}"
    truth = Truth(name, [], names[0])
    if kind not in HEADS:
        truth.parts, truth.why_not = _no_head(rng, kind, names), kind
        _lay(rng, truth)
        return truth
    _head(rng, kind, names, truth)
    if kind == "twin":
        truth.geometry = names[0] + (f" {number}" if number else "")
        truth.inside, truth.copies = names[1:], (0, 0)
    if kind == "pixels":
        truth.geometry = names[0] + (f" {number}" if number else "")
        truth.inside, truth.copies = ("Pixel",), (0,) * rng.randint(3, 12)
        truth.parts += [
            Part(
                [Fn(f"ColorAdd_{each}")],
                "Pixel",
                highlight=255,
                good=[(255, 255)],
                dmx_break="2" if two else rng.choice(["1", "Overwrite"]),
            )
            for each in "RGB"
        ]
        if rng.random() < 0.3 and not truth.why_not:
            truth.parts.append(replace(truth.parts[-1], fns=[Fn("Dimmer")]))
    _lay(rng, truth)
    return truth


def _no_head(rng: Random, kind: str, names: tuple[str, str, str, str]) -> list[Part]:
    dimmer = Part([Fn("Dimmer")], names[2], highlight=255)
    tilt = Part([Fn("Tilt", "Tilt 1", 0, (-90.0, 90.0))], names[2], 2)
    if kind == "dimmer":
        return [dimmer]
    if kind == "hoist":
        return [Part([Fn("PositionZ", "", 0, (0.0, 12.0))], names[1], 2), more.speed(rng), more.control(rng)]
    if kind == "media":
        return [dimmer, *(Part([Fn(f"VideoEffect{n}Parameter1")]) for n in range(1, 5)), more.macro(rng)]
    if kind == "bar":
        return [Part([Fn("Tilt", "Tilt 1", 0, (-90.0, 90.0))], names[2], 2), Part([Fn("Tilt")], names[1]), dimmer]
    return [tilt, dimmer, *parts.additive(rng)]


def _head(rng: Random, kind: str, names: tuple[str, str, str, str], truth: Truth) -> None:
    base, yoke, head, beam = names
    at_pan, at_tilt = rng.choice([(yoke, head)] * 6 + [(base, head), (base, yoke)] * (kind not in ("twin", "pixels")))
    pan, tilt = _pan(rng, truth), _tilt(rng)
    pan.geometry, tilt.geometry = at_pan, at_tilt
    dimmers = _dimmer(rng, truth, kind, beam if rng.random() < 0.5 else head)
    body: list[Part] = [*dimmers, *_zoom(rng, truth), *_focus(rng)]
    shutter = rng.choice([parts.shutter] * 4 + [parts.strobe_alone, parts.strobe_modes])(rng)
    body += shutter if isinstance(shutter, list) else [shutter]
    if kind in ("wash", "pixels") or rng.random() < 0.2:
        body += parts.additive(rng) if kind != "pixels" else []
    else:
        body += parts.subtractive(rng) if rng.random() < 0.6 else []
    for maker in rng.sample(more.EXTRAS, rng.randint(2, 9)):
        made = maker(rng)
        body += made if isinstance(made, list) else [made]
    seen: dict[str, int] = {}
    kept = []
    for part in body:
        if part.attribute not in seen or part.role:
            kept.append(part)
        seen[part.attribute] = 1
    for part in kept:
        part.geometry = {"Head": rng.choice([head, beam]), "Base": truth.geometry}.get(part.geometry, part.geometry)
    rng.shuffle(kept)
    first = [tilt, pan] if rng.random() < 0.15 else [pan, tilt]
    truth.parts = [*first, *kept] if rng.random() < 0.7 else [*kept[:4], *first, *kept[4:]]
    extra = [part for part in (pan, tilt) if part.fns[-1].master]
    if rng.random() < 0.1 and not extra:
        truth.parts.append(more.turning(rng, at_pan))
    if extra:
        sets = [Set("Normal", 0), Set("Endless", 128)][: rng.choice([0, 2])]
        selecting = [Fn("PanTiltMode", "Position", 0, (0, 1), sets), Fn("PanTiltMode", "Rotation", 128)]
        truth.parts.append(Part(selecting, base, key="rotation", good=[(0, 127)], default=rng.choice([0, 0, 200])))


def _pan(rng: Random, truth: Truth) -> Part:
    span = rng.choice([540.0, 540.0, 630.0, 360.0, 655.5, 530.0])
    physical = rng.choice([(-span / 2, span / 2), (span / 2, -span / 2), (0.0, span), (-span / 2, span / 2)])
    sets = [Set("Min", 0), Set("", 1), Set("Center", 127), Set("", 129), Set("Max", 255)][: rng.choice([0, 5])]
    part = Part(
        [Fn("Pan", "Pan 1", 0, physical, sets, fade=rng.choice([0.0, 2.5]))], size=rng.choice([1, 2, 2, 2, 2, 3])
    )
    part.default, part.role = 128, "pan"
    if rng.random() < 0.12:
        part.fns[0].master, rotate = ("rotation", "Position", 0, 127), ("rotation", "Rotation", 128, 255)
        part.fns.append(Fn("PanRotate", "Pan Continuous", 0, (-300.0, 300.0), master=rotate))
    elif rng.random() < 0.05:
        part.fns.append(Fn("PanRotate", "Pan Continuous", 200, (-300.0, 300.0)))
    return part


def _tilt(rng: Random) -> Part:
    span = rng.choice([270.0, 260.0, 230.0, 220.0, 180.0])
    physical = rng.choice([(-span / 2, span / 2), (span / 2, -span / 2), (-span / 2, span / 2)])
    part = Part([Fn("Tilt", "Tilt 1", 0, physical, fade=rng.choice([0.0, 1.4]))], size=rng.choice([1, 2, 2, 2, 3]))
    part.default, part.role = 128, "tilt"
    return part


def _dimmer(rng: Random, truth: Truth, kind: str, where: str) -> list[Part]:
    sets = [Set("Closed", 0), Set("", 1), Set("Open", 255)][: rng.choice([0, 0, 3])]
    physical = rng.choice([(0.0, 1.0), (0.0, 1.0), (0.0, 100.0)])
    part = Part(
        [Fn("Dimmer", "Dimmer 1", 0, physical, sets)], where, rng.choice([1, 2, 2]), role="dimmer", highlight=255
    )
    odd = rng.random()
    if odd > 0.9:
        part.fns[0].start, part.fns[0].sets = 1, ()
        part.fns.insert(0, Fn("Dimmer" if odd < 0.95 else "NoFeature", "Closed", 0, (0.0, 0.0)))
    if odd < 0.04:
        truth.dimmer_to = 134
        part.fns.append(Fn("Shutter1Strobe", "Strobe", 135, (0.0, 20.0)))
    elif odd < 0.08:
        truth.why_not, part.virtual = "virtual", True
    elif odd < 0.11:
        truth.why_not = "none"
        return []
    part.master = rng.choice(["Grand", "Grand", "None"])
    return [part]


def _zoom(rng: Random, truth: Truth) -> list[Part]:
    if rng.random() < 0.25:
        return []
    wide, narrow = rng.choice([(50.0, 5.0), (60.0, 4.0), (38.5, 2.2), (70.0, 10.0)])
    ends = (wide, narrow) if rng.random() < 0.5 else (narrow, wide)
    part = Part(
        [Fn("Zoom", "Zoom 1", 0, ends, [Set("Wide", 0), Set("Narrow", 255)][: rng.choice([0, 2])])],
        size=rng.choice([1, 2]),
    )
    part.role = "zoom"
    style, last = rng.choice(["plain"] * 4 + ["stub", "extra", "masters"]), 256
    if style == "stub":
        part.fns[0].physical, truth.zoom_stub = (0.0, 1.0), True
    elif style == "extra":
        last = 240
        part.fns[0].sets = ()
        part.fns.append(Fn(rng.choice(["ZoomMSpeed", "ZoomModeBeam", "NoFeature"]), "Auto zoom", 240))
    truth.zoom = ((0, ends[0]), (last, ends[1]))
    if style != "masters":
        return [part]
    other = (ends[0] / 2, ends[1] / 2)
    lens = Part(
        [Fn("Gobo3" if rng.random() < 0.3 else "BeamReducer", "Spot", 0), Fn("BeamReducer", "Beam", 128)], key="lens"
    )
    link = rng.random() < 0.5
    part.fns[0].master = ("lens", "Spot" if link else "", 0, 127)
    part.fns.append(Fn("Zoom", "Zoom 2", 0, other, master=("lens", "Beam" if link else "", 128, 255)))
    return [part, lens]


def _focus(rng: Random) -> list[Part]:
    if rng.random() < 0.5:
        return []
    out = [
        Part(
            [Fn("Focus1", "Focus1 1", 0, (0.0, 1.0), [Set("Far", 0), Set("Near", 255)])],
            size=rng.choice([1, 2]),
            role="focus",
        )
    ]
    return [*out, Part([Fn("Focus1Distance", "Auto focus", 0, (0.0, 20.0))])] if rng.random() < 0.3 else out


def _lay(rng: Random, truth: Truth) -> None:
    """Offsets: bytes beside each other, or the fine ones far away; copies of pixels behind all else."""
    far = rng.random() < 0.15
    order = [
        (part, each)
        for part in truth.parts
        if not part.virtual and part.geometry not in truth.inside
        for each in range(part.size)
    ]
    if far:
        order.sort(key=lambda each: each[1])
    places: dict[int, list[int]] = {}
    offset = 0
    for part, _ in order:
        offset += 2 if rng.random() < 0.01 else 1
        places.setdefault(id(part), []).append(offset)
    each = 0
    for part in truth.parts:
        part.offsets = tuple(places.get(id(part), ()))
        if part.geometry in truth.inside and not part.virtual:
            part.offsets = tuple(range(each + 1, each + 1 + part.size))
            each += part.size
    two = any(part.dmx_break == "2" for part in truth.parts)
    truth.copies = tuple((0 if two else offset) + 1 + each * number for number in range(len(truth.copies)))
    truth.footprint = offset + (0 if two else each * len(truth.copies))
    truth.channels = {
        part.role: tuple(each + _shift(truth, part) for each in part.offsets)
        for part in truth.parts
        if part.role and part.offsets
    }
    _answers(truth)


def _shift(truth: Truth, part: Part) -> int:
    return truth.copies[0] - 1 if part.geometry in truth.inside else 0


def _answers(truth: Truth) -> None:
    for part in truth.parts:
        scale = 256 ** (part.size - 1)
        last = 256**part.size - 1
        if part.role in ("pan", "tilt"):
            ends = [each for each in part.fns if not each.master and each.start]
            at = ends[0].start * scale - 1 if ends else last
            setattr(truth, part.role, (at / last, *part.fns[0].physical))
        elif part.role == "zoom" and truth.zoom:
            truth.zoom = tuple(
                (min(raw * scale - (raw == 240), last) if raw else 0, angle) for raw, angle in truth.zoom
            )
        if part.role or part.virtual or part.dmx_break == "2":
            continue
        starts = truth.copies if truth.inside == ("Pixel",) else truth.copies[:1]
        for shift in [each - 1 for each in starts] if part.geometry in truth.inside else [0]:
            truth.light.append((part.attribute, tuple(o + shift for o in part.offsets), tuple(part.good)))
