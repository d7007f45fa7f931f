"""Degrees at the raw ends of a pan or tilt channel, from the functions that count on it."""

from __future__ import annotations

from bridge.exchange.gdtf_active import Span
from bridge.exchange.gdtf_ours import Missing, Moved, Sayings
from bridge.exchange.gdtf_words import family_of

STUB_SPAN, SMALL_SPAN, LARGEST = 2.0, 20.0, 3600.0  # degrees
_OFF_LINE = 0.005  # of a range
_FEW = 1 / 256  # of a channel


def axis_range(name: str, axis: Moved, others: list[Span], said: Sayings) -> tuple[float, float]:
    """(degrees at raw 0, degrees at full), exact inside the function. Raises Missing where the file gives no range.

    `others`: what else is active on the channel.
    """
    pieces = _pieces(name, axis.spans, said)
    start, end, low, high = pieces
    _check(name, low, high)
    full = axis.channel.full
    if start == 0 and end == full:
        return low, high
    if end <= start:
        raise Missing(f"{name}: its function has one raw value, {start}, and no range")
    slope = (high - low) / (end - start)
    first, last = low - slope * start, low + slope * (full - start)
    if abs(first) > LARGEST or abs(last) > LARGEST:
        raise Missing(f"{name}: its function is raw {start} to {end} of {full}, too small a part of the channel")
    text = (
        f"{name}: {low:g} to {high:g} degrees are raw {start} to {end} of the channel's 0 to {full}; the profile's "
        f"range is drawn out to {first:.6g} to {last:.6g}, so that degrees stay right"
    )
    elsewhere = sorted({span.function.name[:40] for span in others if _does_else(span, axis)})
    if (start + full - end) > full * _FEW or elsewhere:
        what = f"; beyond it the head does something else ({', '.join(elsewhere[:4])})" if elsewhere else ""
        least, most = sorted((low, high))
        said.ask(f"{text}{what}: set limits of [{least:g}, {most:g}] for {name} on every fixture of it")
    else:
        said.note(text)
    return round(first, 9), round(last, 9)


def _does_else(span: Span, axis: Moved) -> bool:
    own = [each.function for each in axis.spans]
    return span.function not in own and family_of(span.function.attribute) != "nothing"


def _pieces(name: str, spans: list[Span], said: Sayings) -> tuple[int, int, float, float]:
    """(raw from, raw to, degrees from, degrees to) of one function, or of several that go on from each other."""
    known = [_known(name, span) for span in spans]
    start, end, low, high = known[0]
    for nxt in known[1:]:
        if _goes_on((start, end, low, high), nxt):
            end, high = nxt[1], nxt[3]
        elif nxt[1] - nxt[0] > end - start:
            start, end, low, high = nxt
    if (start, end) != (known[0][0], known[-1][1]):
        said.ask(
            f"{name}: {len(known)} functions of its channel do not go on from each other; that of raw {start} to {end} "
            "is taken. Try the whole range before heads follow"
        )
    return start, end, low, high


def _known(name: str, span: Span) -> tuple[int, int, float, float]:
    low, high = span.function.physical
    if low is None or high is None:
        raise Missing(
            f"{name}: the file gives no range of degrees (PhysicalFrom, PhysicalTo); a guess would aim wrongly"
        )
    return span.start, span.end, low, high


def _goes_on(one: tuple[int, int, float, float], nxt: tuple[int, int, float, float]) -> bool:
    start, end, low, high = one
    if nxt[0] != end + 1 or end == start:
        return False
    drawn = low + (high - low) / (end - start) * (nxt[1] - start)
    scale = abs(nxt[3] - low) * _OFF_LINE
    return abs(nxt[2] - high) <= scale and abs(drawn - nxt[3]) <= scale


def _check(name: str, low: float, high: float) -> None:
    span = abs(high - low)
    if low == high:
        raise Missing(f"{name}: the file gives no range ({low:g} to {high:g}); a guess would aim wrongly")
    if span <= STUB_SPAN:
        raise Missing(
            f"{name}: the file gives no range in degrees ({low:g} to {high:g}, a stub); a guess would aim wrongly"
        )
    if span < SMALL_SPAN:
        raise Missing(
            f"{name}: found {low:g} to {high:g} degrees, too few for a head: radians, or turns? A guess would aim "
            "wrongly"
        )
    if span > LARGEST or max(abs(low), abs(high)) > LARGEST:
        raise Missing(f"{name}: found {low:g} to {high:g} degrees, which no head turns; a guess would aim wrongly")
