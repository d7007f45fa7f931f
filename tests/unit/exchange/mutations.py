"""Broken GDTF and MVR files without end, each from its number: the work of a disk, a bad exporter or an ill will."""

from __future__ import annotations

import io
import json
import math
import os
import random
import re
import sys
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from bridge.errors import FileRefused
from bridge.exchange.found import Found, FoundProfile
from bridge.exchange.gdtf import read_gdtf
from bridge.exchange.mvr import read_mvr
from bridge.show.emit import to_yaml
from bridge.show.profile import read_profile
from bridge.show.yaml12 import parse
from tests.unit.exchange.made_gdtf import (
    DIMMER,
    FOCUS,
    PAN_TILT,
    SHUTTER,
    USUAL,
    ZOOM,
    Channel,
    Function,
    Mode,
    Set,
    description,
    wheel,
)  # fmt: skip
from tests.unit.exchange.made_mvr import SPOT, fixture, group, layer

EVIL = (
    "", " ", "0", "-0", "-1", "1", "2", "255", "256", "512", "513", "65536", "4294967296", "9" * 30, "9" * 5000,
    "1e308", "-1e308", "1e-308", "1e999", "nan", "inf", "-inf", "0x10", "1/0", "0/1", "1/9", "256/1", "-1/2", "1/1s",
    "65535/2", "None", "none", "true", "Yoke", "Base", "Head", "Beam", "Base.Yoke", "Pan", "Tilt", "Zoom", "Shutter1",
    "Dimmer", "Control1", "1,1", "1,2,3,4,5", "3,1", "512", "1,2;3", "{1,2", "{}", "{0,0,0}{0,0,0}{0,0,0}{0,0,0}",
    "{nan,0,0}{0,1,0}{0,0,1}{0,0,0}", "{-1,0,0}{0,1,0}{0,0,1}{0,0,1e308}", "{1e200,0,0}{0,1e200,0}{0,0,1e200}{0,0,1}",
    "{0,0,0,0}{0,0,0,0}{0,0,0,0}{0,0,0,0}", "../../x", "/etc/passwd", "\u0663", "\u00e4\u20ac\U0001f4a1",
    "A" * 3000, "Overwrite",
)  # fmt: skip
WHEEL = wheel("Gobos", ["Open", "Dots"], colours=["0.3127,0.329,100", ""])
GOBOS = Function("Gobo1", name="Gobos", more={"Wheel": "Gobos"}, sets=(Set("Open", "0/1", 1), Set("Dots", "9/1", 2)))
CONTROL = Function("Control1", name="C1", sets=(Set("Idle", "0/1"), Set("Reset", "200/1")))
MASTER = {"ModeMaster": "Beam_Control1"}
RICH = (
    *USUAL,
    Channel("12", [GOBOS]),
    Channel("13", [CONTROL, Function("LampControl", "240/1")]),
    Channel(
        "14",
        [
            Function("Zoom", physical=(50, 5), more={**MASTER, "ModeFrom": "0/1", "ModeTo": "99/1"}),
            Function("Focus1", more={**MASTER, "ModeFrom": "100/1", "ModeTo": "255/1"}, apart=True),
        ],
    ),
    Channel("None", [Function("Dimmer")]),
    Channel("15", [Function("PanRotate", "0/1", (-90, 90))], "Yoke"),
)


def gdtf_texts() -> tuple[str, ...]:
    """The description.xml of sound files."""
    modes = [Mode("Rich", RICH), Mode("Plain", (*PAN_TILT, DIMMER, SHUTTER)), Mode("Hazer", (ZOOM, FOCUS))]
    return (
        description([Mode("Standard", USUAL)]),
        description(modes, wheels=WHEEL),
        description([modes[0]], wheels=WHEEL),
    )


def mvr_texts() -> tuple[str, ...]:
    """The scenes of sound files."""
    turned = "{0,1,0}{-1,0,0}{0,0,1}{1000,2000,6000}"
    truss = group(fixture(1) + fixture(2, matrix=turned, mode="Plain"), "LX 1", turned, "Truss")
    inverted = fixture(3, inner="<DMXInvertPan>true</DMXInvertPan><Position>p</Position>", matrix=turned)
    nested = layer(group(truss + inverted, "Left", turned) + fixture(4, spec="Missing"), matrix=turned)
    symbol = f'<Symdef name="S"><ChildList>{fixture(5)}</ChildList></Symdef>'
    aux = f'<Position uuid="p" name="Bridge"/>{symbol}'
    scene = f"<Scene><AUXData>{aux}</AUXData><Layers>{nested}</Layers></Scene>"
    return (f'<GeneralSceneDescription verMajor="1" verMinor="6">{scene}</GeneralSceneDescription>',)


def mutated(text: str, rng: random.Random) -> str:
    """A text with one to six things changed."""
    for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
        text = rng.choice(_CHANGES)(text, rng)[:200_000]
    return text


def _value(text: str, rng: random.Random) -> str:
    """Another value of an attribute."""
    return _swap(text, rng, r'(?<==")[^"]*(?=")', rng.choice(EVIL))


def _content(text: str, rng: random.Random) -> str:
    """Another text of an element."""
    return _swap(text, rng, r"(?<=>)[^<>]+(?=</)", rng.choice(EVIL))


def _number(text: str, rng: random.Random) -> str:
    """Another number somewhere."""
    return _swap(text, rng, r"-?\d+(\.\d+)?", rng.choice(EVIL))


def _name(text: str, rng: random.Random) -> str:
    """Another name of an attribute, or none."""
    return _swap(text, rng, r' \w+(?==")', rng.choice((" Name", " Offset", " DMXFrom", " x", " uuid", " Matrix")))


def _swap(text: str, rng: random.Random, pattern: str, new: str) -> str:
    places = list(re.finditer(pattern, text))
    if not places:
        return text
    place = rng.choice(places)
    return text[: place.start()] + new + text[place.end() :]


def _dropped(text: str, rng: random.Random) -> str:
    """An attribute less."""
    return _swap(text, rng, r' \w+="[^"]*"', "")


def _leaf(text: str, rng: random.Random) -> str:
    """An element without children taken out, told twice or 30 times, or wrapped into itself."""
    places = list(re.finditer(r"<(\w+)[^<>]*/>|<(\w+)[^<>]*>[^<>]*</\2>", text))
    if not places:
        return text
    place = rng.choice(places)
    leaf, tag = place[0], place[1] or place[2]
    new = rng.choice(("", leaf * 2, leaf * 30, f"<{tag}>{leaf}</{tag}>", f"<{tag}>" * 150 + leaf + f"</{tag}>" * 150))
    return text[: place.start()] + new + text[place.end() :]


def _tag(text: str, rng: random.Random) -> str:
    """One kind of element as another, all through the file."""
    tags = sorted(set(re.findall(r"<(\w+)", text)))
    if not tags:
        return text
    old, new = rng.choice(tags), rng.choice(tags)
    return re.sub(rf"(</?){old}\b", rf"\g<1>{new}", text)


def _torn(text: str, rng: random.Random) -> str:
    """A piece cut out, doubled, or the end missing."""
    start = rng.randrange(len(text) + 1)
    end = min(len(text), start + rng.randrange(1, 400))
    return rng.choice((text[:start] + text[end:], text[:end] + text[start:], text[:start]))


_CHANGES: tuple[Callable[[str, random.Random], str], ...] = (
    _value, _value, _value, _content, _number, _number, _name, _dropped, _leaf, _leaf, _tag, _torn,
)  # fmt: skip


def damaged(data: bytes, rng: random.Random) -> bytes:
    """Octets flipped, cut, doubled or put in, as a bad disk or an ill will does to the archive itself."""
    out = bytearray(data)
    for _ in range(rng.choice((1, 2, 5, 40))):
        at = rng.randrange(len(out) + 1)
        match rng.randrange(5):
            case 0 | 1 if out:
                out[min(at, len(out) - 1)] = rng.choice((0, 255, rng.randrange(256)))
            case 2:
                del out[at : at + rng.randrange(1, 64)]
            case 3:
                out[at:at] = bytes(rng.randrange(256) for _ in range(rng.randrange(1, 9)))
            case 4 if rng.random() < 0.2:
                del out[at:]
    return bytes(out)


_GDTFS, _SCENES = gdtf_texts(), mvr_texts()


def archive(members: dict[str, str]) -> bytes:
    """Packed without deflating: that a damage meets the XML and not its checksum alone, and for speed."""
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as packed:
        for name, text in members.items():
            packed.writestr(name, text.encode("utf-8", "surrogatepass"))
    return stream.getvalue()


def broken(number: int) -> tuple[Callable[[bytes, str], Found], bytes]:
    """The reader and the file of a number: a GDTF, an MVR, or an MVR with a broken GDTF; each XML or archive."""
    rng = random.Random(number)
    gdtf, scene = rng.choice(_GDTFS), rng.choice(_SCENES)
    kind = rng.randrange(8)
    if kind < 3:
        return _any_mode(rng), archive({"description.xml": mutated(gdtf, rng)})
    if kind == 3:
        return _any_mode(rng), damaged(archive({"description.xml": gdtf}), rng)
    inner = archive({"description.xml": mutated(gdtf, rng) if kind == 6 else gdtf})
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as packed:
        packed.writestr("GeneralSceneDescription.xml", mutated(scene, rng) if kind in (4, 5) else scene)
        packed.writestr(SPOT, inner)
    whole = stream.getvalue()
    return read_mvr, damaged(whole, rng) if kind == 7 else whole


def _any_mode(rng: random.Random) -> Callable[[bytes, str], Found]:
    mode = rng.choice((None, "Rich", "Standard", "Plain"))
    return lambda data, what: read_gdtf(data, what, mode)


def outcome(number: int) -> str:
    """Read the file of a number: "refused" or "read". Whatever else is raised, or is no plain data, passes through."""
    reader, data = broken(number)
    try:
        found = reader(data, "broken")
    except FileRefused:
        return "refused"
    sound(found)
    return "read"


def sound(found: Found) -> None:
    """Asserts that it is what readers promise: finite plain data, profiles that the show reads, patches that exist."""
    keys = {profile.key for profile in found.profiles}
    for profile in found.profiles:
        _profile_is_sound(profile)
    for head in found.fixtures:
        assert head.profile is None or head.profile in keys
        assert head.universe is not None
        assert head.address is not None
        assert 1 <= head.universe <= 63_999
        assert 1 <= head.address <= 512
        assert all(math.isfinite(value) for value in (*(head.at or ()), *(head.hang or ())))
    said: list[Any] = [*found.questions, *found.notes, *(text for each in found.skipped for text in each)]
    assert all(isinstance(text, str) and len(text) < 6000 for text in said)


def _profile_is_sound(profile: FoundProfile) -> None:
    json.dumps(profile.document, allow_nan=False)
    node, problems = parse(to_yaml({"version": 1, **profile.document}))
    assert not problems
    read_profile(node)


_watching: list[bool] = []
_written: list[str] = []


@contextmanager
def watch_files() -> Iterator[None]:
    """While within, files opened for writing, made, moved or removed are noted."""
    if not _watching:
        sys.addaudithook(_audit)
    _watching[:] = [True]
    _written.clear()
    try:
        yield
    finally:
        _watching[:] = [False]


def opened_for_writing() -> list[str]:
    """What was written in the last watch."""
    return list(_written)


def _audit(event: str, args: tuple[Any, ...]) -> None:
    if not _watching[0]:
        return
    writes = event in ("os.mkdir", "os.rename", "os.remove", "os.link", "os.symlink", "shutil.move", "os.truncate")
    if event == "open":
        _, mode, flags = args
        writes = bool(set(mode or "") & set("wax+")) or bool(flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT))
    if writes and "__pycache__" not in str(args[0]):
        _written.append(str(args[0]))
