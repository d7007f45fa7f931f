"""Centre candela from lumen and an angle: an estimate, and called so.

The beam is taken as I(t) = I0 · 2^-((t / h)^n), h half the beam angle: 50 % at the beam's edge by definition. n = 2 is
a Gaussian; where a file has both angles, n is what puts 10 % at half the field angle. Then
I0 = lumen / (2 pi · integral of 2^-((t / h)^n) · sin t over 0 .. 90 degrees) (derived from the definition of candela).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, log2

import numpy as np

from bridge.exchange.gdtf_beams import Beam

STANDARDS_LUMEN = 10_000.0
"""What the standard puts where a file says nothing (DIN SPEC 15800, from memory; pygdtf has it so)."""
BELIEVED_LUMEN = (50.0, 2e6)
GAUSSIAN = 2.0
SHAPES = (1.0, 12.0)
TENTH = log2(10.0)


@dataclass(frozen=True)
class Flux:
    """`lumen` of the whole head, None where the file does not say; `shape`: n above."""

    lumen: float | None
    shape: float = GAUSSIAN
    why: str = ""
    questions: tuple[str, ...] = ()

    def candela(self, angle_deg: float, edge: str) -> float:
        """At the centre, to three digits, for a full angle to 50 % (`beam`) or 10 % (`field`)."""
        half = np.radians(angle_deg) / 2
        half_value = half / TENTH ** (1 / self.shape) if edge == "field" else half
        t = np.linspace(0.0, min(np.pi / 2, 30 * half_value), 4001)
        spread = float(np.trapezoid(np.exp2(-((t / half_value) ** self.shape)) * np.sin(t), t))
        return float(f"{(self.lumen or 0.0) / (2 * np.pi * spread):.3g}")


def flux_of(beams: Sequence[Beam]) -> Flux:
    """The lumen of all emitters together, where each of them has its own."""
    values = [beam.flux for beam in beams if beam.flux is not None]
    if not beams or len(values) < len(beams):
        return Flux(None)
    if all(value == STANDARDS_LUMEN for value in values):
        return Flux(
            None, questions=("LuminousFlux 10000 is what the standard puts where nobody knows: not taken as data",)
        )
    lumen = sum(values)
    if not BELIEVED_LUMEN[0] <= lumen <= BELIEVED_LUMEN[1]:
        return Flux(None, questions=(f"LuminousFlux {lumen:g} lm is no output of a head: not taken",))
    shape, told = _shape(beams[0])
    emitters = "" if len(beams) == 1 else f" of {len(beams)} emitters"
    return Flux(lumen, shape, f"estimate from LuminousFlux {lumen:g} lm{emitters} spread as {told}, at every zoom")


def _shape(beam: Beam) -> tuple[float, str]:
    """n, and what it is called."""
    beam_angle, field_angle = beam.beam_angle, beam.field_angle
    if beam_angle is None or field_angle is None or field_angle <= beam_angle * 1.001:
        return GAUSSIAN, "a Gaussian beam"
    shape = min(max(log(TENTH) / log(field_angle / beam_angle), SHAPES[0]), SHAPES[1])
    return shape, f"a beam that falls to 50 % at {beam_angle:g} and to 10 % at {field_angle:g} degrees"
