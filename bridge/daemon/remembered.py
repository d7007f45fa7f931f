"""From what two files say to what a start takes up: `live.json` of the last second, `lasting.json` of each switch.

Of what both hold, the later counts. Anybody may have had an editor or a failing disk at them, so every value is
checked before it is used. A live state that makes no sense is ignored; but `lasting.json` may say that people are
aloft: where it cannot be read, or is not what was written (it carries a digest), everything is still.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from bridge.daemon.boot import Moment
from bridge.follow.who.still import EVERYTHING

RESUME_WITHIN_S = 10.0
CLEAR = "EVERYTHING IS STILL, since nobody can tell who is: send /still 0 override once nobody is aloft"
STILL = ("all", "truss", "fixture")
EVERYTHING_STILL = {"still": {"all": {EVERYTHING: ["a file that cannot be read"]}, "truss": {}, "fixture": {}}}

Document = Mapping[str, Any]


@dataclass(frozen=True)
class Remembered:
    """The state found at a start. `live` is None unless a daemon crashed within the last 10 s.

    `live` and `lasting` are as the door gave them (Door.left_behind, Door.lasting); `sequences` by universe.
    """

    live: dict[str, Any] | None = None
    lasting: dict[str, Any] | None = None
    sequences: dict[int, int] = field(default_factory=dict)
    crashed: bool = False
    age_s: float = 0.0
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class LiveState:
    """live.json, checked but for what the door checks by itself."""

    running: bool
    at: Moment
    sequences: dict[int, int]
    door: dict[str, Any]


@dataclass(frozen=True)
class LastingState:
    """lasting.json likewise."""

    at: Moment
    door: dict[str, Any]


def live_state(data: Document) -> LiveState:
    """Raises ValueError that names what is of another shape."""
    door = _of(data, "door", dict)
    _of(door, "armed", bool), _of(door, "engine", dict), _each(_of(door, "refused", list), int, "refused")
    return LiveState(
        _of(data, "running", bool),
        _moment(data),
        {_universe(key): number & 255 for key, number in _of(data, "sequences", dict).items() if _int(number)},
        door,
    )


def lasting_state(data: Document) -> LastingState:
    """Raises ValueError that names what is of another shape, or says that it is not what was written."""
    door = _of(data, "door", dict)
    if data.get("digest", digest(data)) != digest(data):  # versions before this one wrote none
        raise ValueError("its digest is of another content")
    for kind in STILL:
        for who in _of(_of(door, "still", dict), kind, dict).values():
            if type(who) is not list or not _each(who, str, "still"):
                raise ValueError(f"still holds {_shown(who)}, expected the hosts that said so")
    _of(door, "armed", bool), _of(door, "dark", bool), _each(_of(door, "out", list), str, "out")
    return LastingState(_moment(data), door)


def taken_together(live: LiveState | None, lasting: LastingState | None, now: Moment) -> Remembered:
    """What a start at this moment takes up.

    After a crash the switches of lasting.json count where they are the later ones; else they are those of the show
    before the last stop, and only what outlasts a stop is taken.
    """
    outlasts = _without_switches(lasting.door) if lasting else None
    if live is None:
        return Remembered(lasting=outlasts)
    age_s = now.after(live.at) if live.running else None
    if age_s is None or not 0.0 <= age_s <= RESUME_WITHIN_S:
        return Remembered(lasting=outlasts, sequences=live.sequences, crashed=live.running)
    lasts = outlasts
    if lasting is not None:
        later_s = lasting.at.after(live.at)
        if later_s is not None and later_s >= 0.0:
            lasts = lasting.door
        else:
            still = _still_by_either(lasting.door["still"], live.door) or lasting.door["still"]
            lasts = _without_switches(lasting.door) | {"still": still}
    return Remembered(live.door, lasts, live.sequences, True, age_s)


def still_in_doubt(live: LiveState | None, gone: bool) -> tuple[dict[str, Any], str]:
    """`lasting` of a start that has no lasting.json to read (`gone`: there is none at all), and that in words.

    The live state, which is written every second and at every stop, tells who was still too, however old it is.
    """
    everything: dict[str, Any] = EVERYTHING_STILL["still"]
    told = _still_by_either({kind: {} for kind in STILL}, live.door) if live else None
    if told is None:
        return {"still": everything}, f"missing; {CLEAR}"
    if gone:
        return {"still": told}, "missing; who is still is taken from live.json, trims are lost"
    owners = told["all"].get(EVERYTHING)
    held = [*everything["all"][EVERYTHING], *(owners if isinstance(owners, list) else [])]
    return {"still": {**told, "all": {EVERYTHING: held}}}, CLEAR


def digest(data: Document) -> str:
    """Tells whether a document is what was written: of all but its envelope."""
    content = {key: value for key, value in data.items() if key not in ("version", "digest")}
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()[:16]


def _without_switches(door: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in door.items() if key not in ("armed", "dark", "out")}


def _still_by_either(older: dict[str, Any], newer: Any) -> dict[str, Any] | None:
    """Nobody is let go whom one of the two holds still; None where the newer one does not tell."""
    try:
        live = newer["engine"]["crew"]["still"]
        return {kind: {**older[kind], **_of(live, kind, dict)} for kind in STILL}
    except (KeyError, TypeError, ValueError, AttributeError):
        return None


def _moment(data: Document) -> Moment:
    since_s = float(_of(data, "boot_s", int, float))
    if not math.isfinite(since_s):
        raise ValueError(f"boot_s is {since_s}, expected seconds")
    return Moment(_of(data, "boot", str), since_s)


def _of(data: Document, key: str, *kinds: type) -> Any:
    value = data.get(key)
    if type(value) not in kinds:
        raise ValueError(f"{key} is {_shown(value)}, expected {' or '.join(kind.__name__ for kind in kinds)}")
    return value


def _each(values: list[Any], kind: type, key: str) -> list[Any]:
    for value in values:
        if type(value) is not kind:
            raise ValueError(f"{key} holds {_shown(value)}, expected {kind.__name__} only")
    return values


def _int(value: object) -> bool:
    return bool(_each([value], int, "sequences"))


def _universe(key: str) -> int:
    if not (key.isascii() and key.isdigit()):
        raise ValueError(f"sequences of {_shown(key)}, expected the number of a universe")
    return int(key)


def _shown(value: object) -> str:
    return "missing" if value is None else repr(value)[:40]
