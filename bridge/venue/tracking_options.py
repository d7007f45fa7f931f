"""A tracking system of the simulated venue, as one text says it (`tetherlight venue SHOW --tracking TEXT`).

TEXT is PROTOCOL[,KEY=VALUE ...]. What it leaves out comes from the show's input of that protocol, its frame and the
sources of its targets, so that `--tracking otp` is heard by the bridge that runs the same show.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from bridge.errors import InputError
from bridge.geometry.input_frame import InputFrame
from bridge.show.model import Show
from bridge.venue.tracking_keys import KEYS
from bridge.wire.settings import InputSettings, reached_at

PROTOCOLS = ("otp", "psn", "adm-osc", "osc")
PORTS = {"otp": 5568, "psn": 56565, "adm-osc": 4001}
PSN_GROUP = "236.10.10.10"
ADM_ROOM_M = 10.0
"""From the middle of an ADM-OSC room to its walls, where nothing says it."""


@dataclass(frozen=True)
class Tracking:
    """One tracking system. `points` is by target the point that its tag is; `to` where it is sent, from `interface`.

    What it sees is off by `noise_m` (sigma per axis) and `delay_s` old when it leaves, up to `jitter_s` more; `loss`
    is the share that a tag is not seen, for `burst_s` at a time (0: one by one); `jumps` a minute put it `jump_m` off.
    `height_m` of the tag over the feet; `frame` its axes; its clock runs by `drift_ppm` fast.
    """

    protocol: str
    to: tuple[str, int]
    interface: str
    points: Mapping[str, str]
    name: str = ""
    system: int = 1
    frame: InputFrame = field(default_factory=InputFrame)
    rate_hz: float = 60.0
    noise_m: float = 0.0
    delay_s: float = 0.0
    jitter_s: float = 0.0
    loss: float = 0.0
    burst_s: float = 0.0
    jumps: float = 0.0
    jump_m: float = 0.0
    height_m: float = 1.3
    velocity: bool = False
    drift_ppm: float = 0.0
    seed: int = 1

    @property
    def words(self) -> str:
        """What it is, in one line."""
        tags = ", ".join(f"{point} on {target}" for target, point in self.points.items()) or "no tag"
        if self.protocol == "osc":
            tags = ", ".join(self.points)
        host, port = self.to
        return f"tracking: {self.protocol} to {host}:{port}, {self.rate_hz:g} Hz: {tags}"


def parse_tracking(text: str, show: Show, target: str) -> Tracking:
    """Raises InputError. `target` is whom a `point=` belongs to; targets after it get the points after it."""
    protocol, *given = text.split(",")
    if protocol not in PROTOCOLS:
        raise InputError(f"--tracking {text!r}: expected it to begin with one of {', '.join(PROTOCOLS)}")
    values: dict[str, Any] = {}
    for part in given:
        key, equals, written = part.partition("=")
        if key not in KEYS or not equals:
            raise InputError(f"--tracking {text!r}: {part!r}: expected KEY=VALUE, KEY one of {', '.join(KEYS)}")
        if key in values:
            raise InputError(f"--tracking {text!r}: {key} is said twice")
        try:
            values[key] = KEYS[key](written)
        except ValueError as error:
            raise InputError(f"--tracking {text!r}: {part!r}: expected {error}") from None
    try:
        return _tracking(protocol, values, show, target)
    except ValueError as error:
        raise InputError(f"--tracking {text!r}: {error}") from None


def _tracking(protocol: str, values: dict[str, Any], show: Show, target: str) -> Tracking:
    name, settings = _input(protocol, values.pop("input", None), show)
    in_frame: dict[str, Any] = {key: values.pop(key) for key in ("axes", "turn", "origin", "scale") if key in values}
    points = _points(protocol, name, values.pop("point", None), show, target)
    values.setdefault("system", settings.system if settings else 1)
    to = values.pop("to", None) or _to(protocol, settings, values["system"], show)
    interface = (settings and settings.interface) or show.network.sacn.interface
    if "jumps" in values:
        values["jumps"], values["jump_m"] = values["jumps"]
    told = {FIELDS.get(key, key): value for key, value in values.items()}
    return Tracking(protocol, to, interface, points, name, frame=_frame(protocol, name, in_frame, show), **told)


FIELDS = {
    "noise": "noise_m",
    "delay": "delay_s",
    "jitter": "jitter_s",
    "burst": "burst_s",
    "rate": "rate_hz",
    "height": "height_m",
    "drift": "drift_ppm",
}
"""Fields of Tracking whose keys are shorter."""


def _input(protocol: str, name: str | None, show: Show) -> tuple[str, InputSettings | None]:
    """The show's input that is meant: the one named, or the first of this protocol."""
    inputs = show.network.inputs
    if name is not None:
        if name not in inputs:
            raise ValueError(f"input={name}: the show's inputs are {', '.join(inputs) or 'none'}")
        if inputs[name].protocol != protocol:
            raise ValueError(f"input={name}: that one is {inputs[name].protocol}, not {protocol}")
        return name, inputs[name]
    return next(((n, s) for n, s in inputs.items() if s.protocol == protocol), ("", None))


def _to(protocol: str, settings: InputSettings | None, system: int, show: Show) -> tuple[str, int]:
    if protocol == "osc":
        return reached_at(show.network.osc.host), show.network.osc.port
    if protocol == "otp":
        return f"239.159.1.{system}", PORTS["otp"]
    default = PSN_GROUP if protocol == "psn" else "127.0.0.1"
    if settings is None:
        return default, PORTS[protocol]
    return reached_at(settings.host) if settings.host else default, settings.port or PORTS[protocol]


def _points(protocol: str, name: str, first: str | None, show: Show, target: str) -> dict[str, str]:
    targets = [one.name for one in show.stage.targets]
    if protocol == "osc":
        return {one: one for one in targets}
    if first is None and name:
        sources = {t.name: s.point for t in show.stage.targets for s in t.sources if s.input == name}
        if sources:
            return sources
    if first is None:
        target, first = targets[0], "1/1" if protocol == "otp" else "1"
    group, number = _point(protocol, first)
    follow = targets[targets.index(target) :]
    return {one: f"{group}/{number + k}" if protocol == "otp" else str(number + k) for k, one in enumerate(follow)}


def _point(protocol: str, text: str) -> tuple[int, int]:
    """Group (0 where there is none) and number."""
    found = re.fullmatch(r"(?:(\d{1,5})/)?(\d{1,10})", text)
    grouped = protocol == "otp"
    if found is None or (found[1] is not None) != grouped:
        raise ValueError(f"point={text}: expected {'GROUP/POINT, such as 1/7' if grouped else 'a whole number'}")
    group, number = int(found[1] or 0), int(found[2])
    most = 4_000_000_000 if grouped else 60_000
    if (grouped and not 1 <= group <= 60_000) or not 1 <= number <= most:
        raise ValueError(f"point={text}: expected {'a group of 1 to 60000 and ' if grouped else ''}1 to {most}")
    return group, number


def _frame(protocol: str, name: str, given: dict[str, Any], show: Show) -> InputFrame:
    """What was said; else the show's frame of the input; else the stage's axes (ADM-OSC: in a room of 20 m)."""
    if not given and name in show.frames:
        return show.frames[name]
    given.setdefault("scale", ADM_ROOM_M if protocol == "adm-osc" else 1.0)
    return InputFrame(**given)


def parse_all(texts: Sequence[str], show: Show, target: str) -> list[Tracking]:
    """Several systems at once; the dice of each are its own. Raises InputError."""
    return [parse_tracking(text, show, target) for text in texts]
