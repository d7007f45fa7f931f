"""What a part of the engine keeps from one frame to the next: given out as plain data, by names, and taken back.

A part lists its arrays and numbers once, as `kept`; `state` and `restore` do the rest. What is kept over heads or
targets is given out as columns in the order of the names that stand beside them (`Roster`), so that it finds its
place again in a show whose heads have another order, or others among them. Data that does not fit (a file that was
damaged, a number that is none) is left out, value by value, never an error: a daemon must start.
"""

from __future__ import annotations

import binascii
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from bridge.geometry.frames import Array

Data = dict[str, Any]
NEVER_S = -math.inf
MANY = 512
DTYPES = ("<f8", "<i8", "|b1")
LATEST_S = 1e9
"""No clock shows more seconds, or fewer than its opposite; data that says so is damaged."""
FARTHEST_M = 1e4
"""Nor is anything on a stage further away than this."""
FINEST_RAW = float(2**24 - 1)
"""No channel has more than 24 bits."""


@dataclass(frozen=True)
class Field:
    """One attribute: what it runs over (heads, targets, or "" for a single value), and which values are taken back.

    `gap` is the one value that is not finite and is allowed: NaN for "none", NEVER_S for "never". `axis` is the place
    of heads among the dimensions.
    """

    name: str
    over: str = ""
    kind: type = float
    low: float = -math.inf
    high: float = math.inf
    gap: float | None = None
    axis: int = 0


def time_field(name: str, over: str = "") -> Field:
    """A moment, or never."""
    return Field(name, over, low=-LATEST_S, high=LATEST_S, gap=NEVER_S)


class Roster(NamedTuple):
    """Who stands where in the arrays: the names of heads, of targets and of tracks, in order."""

    heads: tuple[str, ...]
    targets: tuple[str, ...]
    tracks: tuple[str, ...] = ()

    def state(self) -> Data:
        """The names, to be kept beside the columns."""
        return {over: list(names) for over, names in self._asdict().items()}


class Seats:
    """From the order of kept data to the order of a show: `rows[over]` (n,) is the old row of each, -1 for none."""

    def __init__(self, kept: Mapping[str, Any], roster: Roster) -> None:
        new = roster._asdict()
        self._old = {over: names_in(kept.get(over)) for over in new}
        self.rows = {over: _places(self._old[over], names) for over, names in new.items()}

    def old_names(self, over: str) -> Sequence[str]:
        """The names in their old order."""
        return self._old[over]

    def fill(self, field: Field, values: Any, now: np.ndarray) -> np.ndarray:
        """`now` with the values that were kept in their new places; `now` itself where they do not fit."""
        rows = self.rows[field.over]
        shape = list(now.shape)
        shape[field.axis] = len(self._old[field.over])
        kept = _array(values, field, tuple(shape))
        known = np.flatnonzero(rows >= 0)
        if kept is None or not known.size:
            return now
        old, new = np.moveaxis(kept, field.axis, 0), np.moveaxis(now.copy(), field.axis, 0)
        new[known] = old[rows[known]]
        return np.ascontiguousarray(np.moveaxis(new, 0, field.axis))


class Part:
    """Something that keeps what `kept` lists. What needs more than that adds to `state` and `restore`."""

    kept: tuple[Field, ...] = ()

    def state(self) -> Data:
        """Everything kept, as plain data."""
        return {field.name: _plain(getattr(self, field.name)) for field in self.kept}

    def restore(self, data: Any, seats: Seats) -> None:
        """Take up what `state` gave; what is missing or does not fit stays as it is."""
        data = mapping_in(data)
        for field in self.kept:
            if field.name not in data:
                continue
            now, value = getattr(self, field.name), data[field.name]
            if field.over:
                setattr(self, field.name, seats.fill(field, value, now))
            elif isinstance(now, np.ndarray):
                found = _array(value, field, now.shape)
                setattr(self, field.name, now if found is None else found)
            else:
                setattr(self, field.name, _single(value, field, now))


def _plain(value: Any) -> Any:
    """Numbers as people write them; many of them as their octets, which takes a large rig's state a hundredth of the
    time, and keeps the interpreter free for the loop."""
    if isinstance(value, np.ndarray):
        return value.tolist() if value.size <= MANY else _packed(value)
    return value.item() if isinstance(value, np.generic) else value


def _packed(value: np.ndarray) -> Data:
    octets = np.ascontiguousarray(value).tobytes()
    return {
        "shape": list(value.shape),
        "of": value.dtype.str,
        "octets": binascii.b2a_base64(octets, newline=False).decode("ascii"),
    }


def _unpacked(data: Mapping[str, Any]) -> Any:
    """The array that `_packed` made; None where it is none."""
    try:
        of, shape = str(data["of"]), tuple(int(length) for length in data["shape"])
        if of not in DTYPES or any(length < 0 for length in shape):
            return None
        return np.frombuffer(binascii.a2b_base64(data["octets"]), np.dtype(of)).reshape(shape)
    except (KeyError, TypeError, ValueError, OverflowError):
        return None


def _array(values: Any, field: Field, shape: tuple[int, ...]) -> np.ndarray | None:
    """An array of this shape and kind, all of its values allowed; else None."""
    try:
        found: Array = np.asarray(_unpacked(values) if isinstance(values, Mapping) else values, dtype=np.float64)
    except (TypeError, ValueError, OverflowError, RecursionError):
        return None
    if found.shape != shape:
        return None
    inside = (found >= field.low) & (found <= field.high)
    if not (inside | _is_gap(found, field.gap)).all():
        return None
    return found.astype(np.float64 if field.kind is float else field.kind)


def _is_gap(found: Array, gap: float | None) -> np.ndarray:
    if gap is None:
        return np.zeros(found.shape, dtype=bool)
    return np.isnan(found) if math.isnan(gap) else found == gap


def _single(value: Any, field: Field, now: Any) -> Any:
    if field.kind is bool:
        return value if isinstance(value, bool) else now
    if field.kind is str:
        return value if isinstance(value, str) else now
    found = number_in(value, field.low, field.high, field.gap)
    return now if found is None else field.kind(found)


# Reading plain data of any shape


def number_in(value: Any, low: float = -math.inf, high: float = math.inf, gap: float | None = None) -> float | None:
    """A finite number that is allowed, or this gap (not NaN); else None."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    try:
        found = float(value)
    except OverflowError:
        return None
    if not math.isfinite(found):
        return found if found == gap else None
    return found if low <= found <= high else None


def numbers_in(value: Any, count: int, low: float = -math.inf, high: float = math.inf) -> list[float] | None:
    """So many numbers, all finite and allowed, or None."""
    if not isinstance(value, (list, tuple)) or len(value) != count:
        return None
    found = [number_in(item, low, high) for item in value]
    return None if None in found else [item for item in found if item is not None]


def names_in(value: Any) -> list[str]:
    """The texts of a list."""
    return [item for item in value if isinstance(item, str)] if isinstance(value, (list, tuple)) else []


def mapping_in(value: Any) -> Data:
    """A mapping, empty where it is none."""
    return dict(value) if isinstance(value, Mapping) else {}


def _places(old: Sequence[str], names: Sequence[str]) -> np.ndarray:
    where = {name: row for row, name in enumerate(old)}
    return np.array([where.get(name, -1) for name in names], dtype=np.intp)
