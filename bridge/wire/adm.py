"""ADM-OSC 1.0: where the sound desk's objects are. On top of our strict OSC decoder; no socket, no clock.

Places are shares of a room of the sender's: x +1 right, y +1 front as the audience looks (upstage), z +1 top.
`counters` have one word for each datagram: taken, no-place (it says nothing of where an object is), empty, or the
decoder's: malformed, oversized, address, not-finite. `point_counters` have one for each message: taken, incomplete,
touch, query, name, dmax, or why not: other-word, not-adm, object, arguments, range, pattern, unknown-type. Decisions:

- A bundle gives one point per object: where it is after the last message. x, y and z in one bundle are one place.
- x, y and z alone, and azim, elev and dist alone, change what was said of that object before by the same host. A place
  needs x and y (z: 0 until said), or azimuth and distance (elevation: 0 until said).
- **Polar places** are read as ITU-R BS.2127-1 carries them into Cartesian ones, on a sphere:
  x = -sin(azimuth) cos(elevation) distance, y = cos(azimuth) cos(elevation) distance, z = sin(elevation) distance.
  The formula is from memory, and is the one of PyPI ear 2.1.0; distance 1 reaches the sphere, not the room's corners.
- `dmax` (metres for 1.0): from then on the places of that object, from that host, are metres.
- Numbers outside their range are refused, never clipped. Patterns are never matched: one place for all objects is no
  performer's. A message without arguments asks us something, and gets no answer: we are no renderer.
- "touch" and "release" come in the place of numbers while a hand holds an object: nothing follows from them.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Callable, Sequence

from bridge.wire.names import keep
from bridge.wire.osc import OscError, OscMessage, decode, encode
from bridge.wire.tracked import Place, Point

PORT = 4001
MAX_OBJECTS = 1024
"""Of all hosts together; names are kept for as many."""
MAX_DMAX_M = 1e4

_OBJECT = re.compile(r"0|[1-9][0-9]{0,8}")
_SHARE, _DEGREES, _SLOPE, _DISTANCE = (-1.0, 1.0), (-180.0, 180.0), (-90.0, 90.0), (0.0, 1.0)
# Word -> (polar?, which of the three coordinates it gives).
_WORDS: dict[str, tuple[bool, tuple[int, ...]]] = {
    "xyz": (False, (0, 1, 2)),
    "xy": (False, (0, 1)),
    "x": (False, (0,)),
    "y": (False, (1,)),
    "z": (False, (2,)),
    "aed": (True, (0, 1, 2)),
    "azim": (True, (0,)),
    "elev": (True, (1,)),
    "dist": (True, (2,)),
}
_RANGES = ((_SHARE, _SHARE, _SHARE), (_DEGREES, _SLOPE, _DISTANCE))
_CORNER = 1.7321  # of the room, from its middle


def from_polar(azimuth_deg: float, elevation_deg: float, distance: float) -> Place:
    """x, y, z of a polar place (azimuth + to the left of front), as the module says."""
    azimuth, elevation = math.radians(azimuth_deg), math.radians(elevation_deg)
    level = distance * math.cos(elevation)
    return -level * math.sin(azimuth), level * math.cos(azimuth), distance * math.sin(elevation)


def to_polar(x: float, y: float, z: float) -> Place:
    """Azimuth and elevation in degrees, distance: what from_polar turns back. The origin lies in front."""
    level = math.hypot(x, y)
    return math.degrees(math.atan2(-x, y)), math.degrees(math.atan2(z, level)), math.hypot(level, z)


class _Object:
    """What one host has said of one object so far, both ways; None: not yet."""

    __slots__ = ("cartesian", "dmax_m", "polar")

    def __init__(self) -> None:
        self.cartesian: list[float | None] = [None, None, 0.0]
        self.polar: list[float | None] = [None, 0.0, None]
        self.dmax_m = 1.0

    def say(self, polar: bool, coordinates: Sequence[int], numbers: Sequence[float]) -> str:
        """Take them in: "taken", "incomplete", or "range" (nothing is taken then)."""
        said = list(self.polar if polar else self.cartesian)
        for coordinate, number in zip(coordinates, numbers, strict=True):
            said[coordinate] = number
        a, b, c = said
        if a is None or b is None or c is None:
            self.cartesian, self.polar = (self.cartesian, said) if polar else (said, self.polar)
            return "incomplete"
        if polar:
            self.cartesian, self.polar = [*from_polar(a, b, c)], said
        elif math.hypot(a, b, c) <= _CORNER:
            self.cartesian, self.polar = said, [*to_polar(a, b, c)]
        else:
            return "range"  # a corner of the room, turned, and then one coordinate alone
        return "taken"

    def place(self) -> Place | None:
        x, y, z = self.cartesian
        if x is None or y is None or z is None:
            return None
        return x * self.dmax_m, y * self.dmax_m, z * self.dmax_m


class Reader:
    """Everything heard on one socket. `names` by point: what its sender calls it, printable.

    `last_refusal`: of the last datagram that was no OSC, what was expected and found.
    """

    def __init__(self) -> None:
        self.counters: Counter[str] = Counter()
        self.point_counters: Counter[str] = Counter()
        self.last_refusal = ""
        self.names: dict[str, str] = {}
        self._objects: dict[tuple[str, str], _Object] = {}

    def take(self, packet: bytes, host: str, now_s: float) -> list[Point]:
        """The points of one datagram; never raises. `now_s` changes nothing: the protocol has no times."""
        discarded: list[OscError] = []
        try:
            messages = decode(packet, discarded, patterns=True)
        except OscError as error:
            self.counters[error.reason] += 1
            self.last_refusal = f"{host}: {error}"
            return []
        self.point_counters.update(error.reason for error in discarded)
        points = self._points(messages, host)
        self.counters["taken" if points else "no-place" if messages or discarded else "empty"] += 1
        return points

    def _points(self, messages: Sequence[OscMessage], host: str) -> list[Point]:
        moved: dict[str, None] = {}
        for message in messages:
            number, _, word = message.address.removeprefix("/adm/obj/").partition("/")
            outcome = self._outcome(message, host, number, word)
            self.point_counters[outcome] += 1
            if outcome == "taken":
                moved[number] = None
        places = ((number, self._object(host, number).place()) for number in moved)
        return [Point(number, place, clock=host) for number, place in places if place is not None]

    def _outcome(self, message: OscMessage, host: str, number: str, word: str) -> str:
        if not message.address.startswith("/adm/"):
            return "not-adm"
        if not message.address.startswith("/adm/obj/"):
            return "other-word"  # the listener's, the room's
        if _OBJECT.fullmatch(number) is None:
            return "object"
        if word not in _WORDS and word not in _OTHERS:
            return "other-word"
        if not message.args:
            return "query"
        if word in _OTHERS:
            return _OTHERS[word](self, message, host, number)
        return self._moved(message, host, number, word)

    def _moved(self, message: OscMessage, host: str, number: str, word: str) -> str:
        if message.args in (("touch",), ("release",)):
            return "touch"
        polar, coordinates = _WORDS[word]
        numbers = _numbers(message)
        if len(numbers) != len(coordinates):
            return "arguments"
        ranges = _RANGES[polar]
        for coordinate, value in zip(coordinates, numbers, strict=True):
            least, most = ranges[coordinate]
            if not least <= value <= most:
                return "range"
        return self._object(host, number).say(polar, coordinates, numbers)

    def _named(self, message: OscMessage, host: str, number: str) -> str:
        if len(message.args) != 1 or not isinstance(message.args[0], str):
            return "arguments"
        keep(self.names, number, message.args[0], MAX_OBJECTS)
        return "name"

    def _scaled(self, message: OscMessage, host: str, number: str) -> str:
        numbers = _numbers(message)
        if len(numbers) != 1:
            return "arguments"
        if not 0.0 < numbers[0] <= MAX_DMAX_M:
            return "range"
        self._object(host, number).dmax_m = numbers[0]
        return "dmax"

    def _object(self, host: str, number: str) -> _Object:
        """That object of that host, last in line to make room for another."""
        key = (host, number)
        known = self._objects.pop(key, None) or _Object()
        if len(self._objects) >= MAX_OBJECTS:
            del self._objects[next(iter(self._objects))]
        self._objects[key] = known
        return known


_OTHERS: dict[str, Callable[[Reader, OscMessage, str, str], str]] = {"name": Reader._named, "dmax": Reader._scaled}


def _numbers(message: OscMessage) -> list[float]:
    """All arguments as floats, or none where one is no number (a bool is none)."""
    numbers = [float(value) for value in message.args if type(value) in (int, float)]  # type: ignore[arg-type]
    return numbers if len(numbers) == len(message.args) else []


def position(number: int, x: float, y: float, z: float = 0.0) -> bytes:
    """One message: where an object is, in shares of the room. Raises ValueError outside -1..1."""
    if not all(-1.0 <= share <= 1.0 for share in (x, y, z)):
        raise ValueError(f"place {(x, y, z)} of object {number}, expected shares from -1 to 1")
    return encode(f"/adm/obj/{number}/xyz", float(x), float(y), float(z))
