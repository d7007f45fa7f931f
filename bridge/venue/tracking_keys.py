"""What may stand after PROTOCOL in `tetherlight venue SHOW --tracking`: each key and how its value is read.

A value that is no good raises ValueError with what is expected.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from bridge.geometry.input_frame import AXES
from bridge.geometry.stage import Point3

SWITCH = {"on": True, "off": False}
Value = Callable[[str], Any]


def _number(low: float, high: float, unit: str) -> Value:
    def parse(written: str) -> float:
        try:
            value = float(written)
        except ValueError:
            value = float("nan")
        if not low <= value <= high:
            raise ValueError(f"{low:g} to {high:g}{unit and ' '}{unit}")
        return value

    return parse


def _whole(low: int, high: int) -> Value:
    def parse(written: str) -> int:
        if not re.fullmatch(r"\d{1,10}", written) or not low <= int(written) <= high:
            raise ValueError(f"a whole number from {low} to {high}")
        return int(written)

    return parse


def _jumps(written: str) -> tuple[float, float]:
    a_minute, _, size = written.partition("/")
    try:
        return _number(0, 6000, "")(a_minute), _number(0.01, 100, "")(size)
    except ValueError:
        raise ValueError("a rate per minute and metres, such as 6/8") from None


def _origin(written: str) -> Point3:
    try:
        x, y, z = (_number(-1000, 1000, "")(part) for part in written.split("/"))
    except ValueError:
        raise ValueError("three metres, such as 2/0/-0.5") from None
    return x, y, z


def _axes(written: str) -> tuple[str, ...]:
    axes = tuple(written.split("/"))
    if len(axes) != 3 or not set(axes) <= set(AXES) or len({axis[-1] for axis in axes}) != 3:
        raise ValueError("which axis of the input is the stage's x, y and z, such as x/z/-y")
    return axes


def _switch(written: str) -> bool:
    if written not in SWITCH:
        raise ValueError("on or off")
    return SWITCH[written]


def _place(written: str) -> tuple[str, int]:
    host, _, port = written.rpartition(":")
    if not re.fullmatch(r"\d{1,3}(\.\d{1,3}){3}", host) or not port.isdigit() or not 1 <= int(port) <= 65535:
        raise ValueError("HOST:PORT, such as 127.0.0.1:4001")
    return host, int(port)


def _text(written: str) -> str:
    return written


KEYS: Mapping[str, Value] = {
    "noise": _number(0, 5, "m"), "delay": _number(0, 2, "s"), "jitter": _number(0, 2, "s"),
    "loss": _number(0, 0.95, ""), "burst": _number(0, 10, "s"), "jumps": _jumps, "rate": _number(1, 250, "Hz"),
    "height": _number(-5, 5, "m"), "velocity": _switch, "drift": _number(-1000, 1000, "ppm"), "seed": _whole(0, 2**31),
    "axes": _axes, "turn": _number(-360, 360, "degrees"), "origin": _origin, "scale": _number(0.001, 1000, ""),
    "system": _whole(1, 200), "to": _place, "point": _text, "input": _text,
}  # fmt: skip
