"""A function of a channel of ours as `gdtf_physical` takes it; several that go on from each other as one."""

from __future__ import annotations

from itertools import pairwise

from bridge.exchange import gdtf_physical as physical
from bridge.exchange.gdtf_active import Span, parts_of
from bridge.exchange.gdtf_ours import Moved, Sayings


def plain(name: str, moved: Moved, said: Sayings) -> physical.Function:
    """`name` is for what is asked where functions of one channel do not go on from each other: the widest is taken."""
    spans = moved.spans
    if len(spans) > 1 and not _one_curve(spans):
        widest = max(spans, key=lambda span: span.end - span.start)
        said.ask(
            f"{name}: {len(spans)} functions of its channel do not go on from each other; that of raw "
            f"{widest.start} to {widest.end} ('{widest.function.name[:40]}') is taken"
        )
        spans = [widest]
    first, last = spans[0], spans[-1]
    joints = [physical.Point(s.start, s.end, *s.function.physical) for s in spans] if len(spans) > 1 else []
    return physical.Function(
        name=first.function.name,
        physical_from=first.function.physical[0],
        physical_to=last.function.physical[1],
        raw_from=first.start,
        raw_to=last.end,
        full=moved.channel.full,
        real_fade_s=first.function.element.number("RealFade"),
        real_acceleration_s=first.function.element.number("RealAcceleration"),
        points=tuple(joints + [point for span in spans for point in _points(span)]),
    )


def _one_curve(spans: list[Span]) -> bool:
    """They follow without a gap, and physical values rise, or fall, through all of them."""
    values = [value for span in spans for value in span.function.physical]
    known = [value for value in values if value is not None]
    if len(known) < len(values) or any(before.end + 1 != after.start for before, after in pairwise(spans)):
        return False
    steps = [after - before for before, after in pairwise(known)]
    return all(step >= 0 for step in steps) or all(step <= 0 for step in steps)


def _points(span: Span) -> list[physical.Point]:
    """Channel sets with physical values of their own."""
    return [
        physical.Point(part.start, part.end, *part.set.physical)
        for part in parts_of(span)
        if part.set is not None and part.set.physical != (None, None)
    ]
