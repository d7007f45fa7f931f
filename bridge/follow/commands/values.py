"""The arguments of a message, checked: each function raises Refused with a reason and words."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

from bridge.errors import Refused

Args = Sequence[object]
FARTHEST_M = 1000.0
LONGEST_S = 3600.0
FEW = 12


def number(value: object, what: str, low: float = -FARTHEST_M, high: float = FARTHEST_M) -> float:
    """A finite number (OSC i, f or d) in [low, high]."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise Refused("arguments", f"{what} must be a number, found {value!r}")
    if not math.isfinite(value):
        raise Refused("not-finite", f"{what} must be a finite number, found {value}")
    if not low <= value <= high:
        raise Refused("range", f"{what} must lie in {low:g} .. {high:g}, found {value:g}")
    return float(value)


def on_off(value: object, what: str) -> bool:
    """0 or 1, or OSC T or F."""
    state = float(value) if isinstance(value, bool) else number(value, what, 0.0, 1.0)
    if state not in (0.0, 1.0):
        raise Refused("range", f"{what} must be 0 or 1, found {state:g}")
    return bool(state)


def switch(args: Args, what: str) -> bool:
    """A single 0 or 1."""
    (value,) = count(args, what, 1)
    return on_off(value, what)


def text(value: object, what: str) -> str:
    """A name."""
    if not isinstance(value, str):
        raise Refused("arguments", f"{what} must be a name, found {value!r}")
    return value


def label(value: object, what: str) -> str:
    """A name that people make of numbers too (marks 1, 2, 3), and some senders send as such."""
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else text(value, what)


def count(args: Args, what: str, *allowed: int) -> Args:
    """The arguments, if there are as many as allowed."""
    if len(args) not in allowed:
        raise Refused("arguments", f"{what} takes {' or '.join(map(str, allowed))} argument(s), found {len(args)}")
    return args


def timed(
    args: Args, what: str, low: float, high: float, named: Mapping[str, float] | None = None
) -> tuple[float, float]:
    """A value (a number, or one of the names) and the seconds in which to go there, 0 if not said."""
    value, *seconds = count(args, what, 1, 2)
    over_s = number(seconds[0], "the time", 0.0, LONGEST_S) if seconds else 0.0
    if isinstance(value, str) and named is not None:
        known = list(named)
        return named[known[find(known, value, f"named {what}")]], over_s
    return number(value, what, low, high), over_s


def find(names: Iterable[str], name: str, kind: str) -> int:
    """Place of a name among the known ones; what is known is said. No search for the nearest: a frame may wait."""
    known = list(names)
    if name in known:
        return known.index(name)
    same = [k for k in known[:FEW] if k.lower() == name.lower()]
    hint = f"did you mean {same[0]}?" if same else f"known: {', '.join(known[:FEW]) or 'none'}"
    raise Refused("unknown-name", f"there is no {kind} {name}; {hint}")
