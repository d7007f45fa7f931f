"""What was found of an input's frame, in sentences for a crew."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bridge.geometry.input_frame import InputFrame
from bridge.geometry.stage import Point3
from bridge.solve.frame_doubts import MARK, STRETCH, SWAP, Doubt
from bridge.solve.frame_fit import Fit

RUNS = ("to the right", "upstage", "up")
OPPOSITE = ("to the left", "downstage", "down")
UNITS = {"millimetres": 0.001, "centimetres": 0.01, "feet": 0.3048, "inches": 0.0254}
NEAR = 0.3
"""A record this near another mark, m, was rather taken there."""


@dataclass(frozen=True)
class Told:
    """Sentences about one fit; `marks` are the names of its records, `places` gives (place, sigma) of every mark."""

    frame: InputFrame
    fit: Fit
    marks: tuple[str, ...]
    places: Mapping[str, tuple[Point3, float]]

    def axes(self) -> list[str]:
        """Which axis runs where, unless they are the stage's."""
        if self.frame.axes == ("x", "y", "z"):
            return []
        turn = "" if not self.frame.turn else f", turned by {self.frame.turn:.1f} degrees"
        runs = sorted((axis[-1], _runs(row, axis)) for row, axis in enumerate(self.frame.axes))
        text = ", ".join(f"{name} {where}" for name, where in runs) + turn
        odd = self.fit.mirrored != bool(np.linalg.det(self.fit.records.usual) < 0)
        return [f"mirrored: {self._against()}{text}" if odd and self.fit.mirrored else f"its axes: {text}"]

    def _against(self) -> str:
        against = [axis[1] for row, axis in enumerate(self.frame.axes) if axis == "-" + "xyz"[row]]
        plain = all(axis[-1] == "xyz"[row] for row, axis in enumerate(self.frame.axes))
        return f"its {' and '.join(against)} runs against the stage's: " if plain and against else "left-handed axes: "

    def open_height(self, rivals: Sequence[Fit]) -> list[str]:
        """Whether the vertical axis points up or down is not told by marks on one level."""
        axis, up = self.fit.upright
        if not any(rival.upright == (axis, not up) for rival in rivals):
            return []
        way = "up" if up else "down"
        return [f"marks on one level do not tell whether its {'xyz'[axis]} points up or down: taken as {way}"]

    def open_hand(self, rivals: Sequence[Fit], exchanged: Sequence[tuple[int, ...]]) -> list[str]:
        """Two marks, or marks in one line, do not tell a mirrored system from one that is not."""
        axis, up = self.fit.upright
        out = []
        if any(rival.upright == (axis, up) for rival in rivals):
            taken = "mirrored, as its protocol has it" if self.fit.mirrored else "not mirrored"
            out.append(f"marks in one line do not tell whether it is mirrored: taken as {taken}; record one beside it")
        if any(rival.upright[0] != axis for rival in rivals):
            out.append(f"these marks do not tell which axis is vertical: taken as its {'xyz'[axis]}; record another")
        for pair in exchanged:
            one, other = (self.marks[row] for row in pair)
            out.append(f"it comes out mirrored; if {one} and {other} were exchanged, it is not: record both again")
        return out

    def tilt(self) -> list[str]:
        """How far it is from level."""
        if self.fit.level:
            return []
        axis, _ = self.fit.upright
        lean = np.degrees(np.arccos(min(1.0, abs(float(self.fit.turn[2, axis])))))
        return [f"it is not level: its {'xyz'[axis]} leans by {lean:.1f} degrees"]

    def left_out(self, unknown: Sequence[str]) -> list[str]:
        """Records on marks of which nobody knows where they are."""
        return [f"not used, as nobody knows where they are: {', '.join(unknown)}"] if unknown else []

    def wide(self, accept: float) -> list[str]:
        """More than a pose may be off."""
        if self.frame.sigma <= accept:
            return []
        text = f"places may be {self.frame.sigma:.2f} m off by this frame (95 %, worst corner)"
        return [f"{text}, more than `accept` {accept:g} m: record more marks, further apart"]

    def doubt(self, doubt: Doubt) -> str:
        """One explanation of a misfit."""
        names = [self.marks[row] for row in doubt.rows]
        if doubt.kind == MARK:
            near = self._nearest(doubt)
            else_ = f"; it was rather on {near}" if near else ""
            return f"{names[0]} is {_cm(doubt.misfit)} off what the others say{else_}: record it again, or forget it"
        if doubt.kind == SWAP:
            return f"{names[0]} and {names[1]} look exchanged: then the rest fits to {self._left(doubt)}"
        if doubt.kind == STRETCH:
            across, along = doubt.scales
            text = f"its two level axes have units of their own, {across:.3g} and {along:.3g} m"
            return f"{text}: a frame has one scale; have its system send metres, or shares of a square"
        return self._unit(doubt.scales[0])

    def _left(self, doubt: Doubt) -> str:
        return _cm(float(np.max(np.linalg.norm(doubt.fit.off[:, :2], axis=1))))

    def _unit(self, scale: float) -> str:
        known = next((name for name, unit in UNITS.items() if abs(np.log(scale / unit)) < 0.02), "")
        text = f"its unit is {scale:.4g} m" + (f": {known}" if known else "")
        other = ", or one of the two marks is another" if len(self.marks) == 2 else ""
        return f"{text}{other}; `solve 1` looks for the scale as well"

    def _nearest(self, doubt: Doubt) -> str:
        """The other mark on which this record would fit."""
        (row,) = doubt.rows
        at = doubt.fit.origin + doubt.fit.scale * doubt.fit.turn @ self.fit.records.at[row]
        others = {
            name: float(np.hypot(at[0] - place[0], at[1] - place[1]))
            for name, (place, _) in self.places.items()
            if name != self.marks[row]
        }
        return min(others, key=others.__getitem__) if others and min(others.values()) < NEAR else ""


def _runs(row: int, axis: str) -> str:
    return (OPPOSITE if axis.startswith("-") else RUNS)[row]


def _cm(metres: float) -> str:
    return f"{metres:.2f} m" if metres >= 1.0 else f"{100 * metres:.1f} cm"
