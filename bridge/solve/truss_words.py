"""The sentences about trusses that were carried over, and about units that answer in each other's place."""

from __future__ import annotations

from bridge.solve.result import OffTruss, OtherTruss, Suspect


def off_truss_words(s: Suspect, off: OffTruss) -> str:
    """A head that is not where its truss has it."""
    could = []
    if off.along is not None:
        could.append(f"moved {abs(off.along):.1f} m along it")
    if off.turned is not None:
        could.append(f"turned {abs(off.turned):.0f} deg")
    could.append("exchanged for another unit")
    if s.instead is not None:
        could.append(f"or {s.instead} was what it sighted")
    else:
        could[-1] = f"or {could[-1]}" if len(could) > 1 else could[-1]
    return (
        f"{s.fixture} does not hang on truss {off.truss} as it did ({_metres(s.misfit)} off at {s.mark}): it was"
        f" {', '.join(could)}; sight two more marks with it, better four"
    )


def other_truss_words(s: Suspect, other: OtherTruss) -> str:
    """A truss that does not have the shape of the earlier poses."""
    if other.variant == "other end":
        return (
            f"truss {other.truss} seems to be numbered from its other end: every head fits the place that its opposite"
            " had; exchange the names or addresses in rig.yaml, or turn the truss round"
        )
    begin = f"truss {other.truss} does not have the shape of the earlier poses"
    if other.variant == "mirror":
        return f"{begin}: it fits when its heads hang as in a mirror, left for right; sight three more marks with each"
    return (
        f"{begin}: {other.gone} of {other.sighted} sighted heads do not fit the others, {other.worst} at {s.mark} is"
        f" {_metres(s.misfit)} off; sight three more marks with each of its heads, better four"
    )


def crossed_words(s: Suspect) -> str:
    """Two units that answer in each other's place."""
    return (
        f"{s.fixture} and {s.also} seem to be crossed: {s.fixture} answers where {s.also} hangs, and the other way"
        f" round ({_metres(s.misfit)} apart); exchange their addresses in rig.yaml or at the heads"
    )


def _metres(metres: float) -> str:
    return f"{metres * 100:.0f} cm" if metres < 1 else f"{metres:.1f} m"
