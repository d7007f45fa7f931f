"""Speeds of the axes, and angles and candela of the zoom, from what the channel functions of a GDTF file say."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from bridge.exchange.gdtf_geometry import Head

ZoomRow = tuple[int, float] | tuple[int, float, float]


class Point(NamedTuple):
    """A channel set with physical values of its own: raw from and to (on the function's full scale), and those."""

    raw_from: int
    raw_to: int
    physical_from: float | None
    physical_to: float | None


class Function(NamedTuple):
    """A channel function as plain data. `raw_from` and `raw_to` lie in 0 .. `full`, all bytes of the channel."""

    name: str
    physical_from: float | None
    physical_to: float | None
    raw_from: int
    raw_to: int
    full: int
    real_fade_s: float | None = None
    real_acceleration_s: float | None = None
    points: tuple[Point, ...] = ()


@dataclass(frozen=True)
class Motion:
    """deg/s and deg/s² of an axis; None: the file does not say. `why`: "" or whence they are."""

    speed: float | None = None
    acceleration: float | None = None
    why: str = ""
    questions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Zoom:
    """`document`: the profile's `zoom` as plain data ({"table": [[raw, degrees, candela?], ..], "edge": ..}) or None.

    `why` of the paths "zoom" and "zoom.candela"; `confirm`: of zoom, candela.
    """

    document: Mapping[str, object] | None = None
    why: Mapping[str, str] = field(default_factory=dict)
    confirm: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def read_motion(axis: str, function: Function) -> Motion:
    """Speed and acceleration of `pan` or `tilt`."""
    return Motion()


def read_zoom(function: Function | None, head: Head) -> Zoom:
    """The zoom table of a channel function, or of a fixed lens (None)."""
    return Zoom()
