"""Lengths as people write them: metres, or text with a unit. 1 in = 25.4 mm exactly (1959 yard and pound agreement)."""

from __future__ import annotations

import re
from fractions import Fraction

ALLOWED_LENGTH = "metres, or text with a unit such as 3.2 m, 320 cm, 3200 mm, 126 in, 10.5 ft or 10' 6\""

_METRES = {
    "m": Fraction(1),
    "cm": Fraction(1, 100),
    "mm": Fraction(1, 1000),
    "in": Fraction(254, 10_000),
    "ft": Fraction(3048, 10_000),
}
_NUMBER = r"(?:[0-9]{1,12}(?:\.[0-9]{0,12})?|\.[0-9]{1,12})"
_WITH_UNIT = re.compile(rf"([-+]?)\s*({_NUMBER})\s*(m|cm|mm|in|ft)")
_INCHES = rf"(?:({_NUMBER})|(?:([0-9]{{1,6}})[ -]+)?([0-9]{{1,6}})/([0-9]{{1,6}}))"
_FEET_INCHES = re.compile(rf"([-+]?)\s*(?:({_NUMBER})\s*(?:'|ft))?\s*(?:{_INCHES}\s*(?:\"|''|in))?")
_PRIMES = str.maketrans({"\u2032": "'", "\u2019": "'", "\u2033": '"', "\u201d": '"', "\u2212": "-"})


def metres_from_text(text: str) -> float:
    """Metres in a text such as `3.2 m` or `10' 6 1/2"`. Raises ValueError on anything else, a bare number included."""
    plain = text.strip().translate(_PRIMES)
    if match := _WITH_UNIT.fullmatch(plain):
        sign, number, unit = match.groups()
        return _signed(sign, Fraction(number) * _METRES[unit])
    match = _FEET_INCHES.fullmatch(plain)
    if match is None or not any(match.groups()[1:]):
        raise ValueError(f"not a length: {text!r}")
    sign, feet, inches, whole, above, below = match.groups()
    total = Fraction(feet or 0) * _METRES["ft"] + _inches(inches, whole, above, below) * _METRES["in"]
    return _signed(sign, total)


def _inches(number: str | None, whole: str | None, above: str | None, below: str | None) -> Fraction:
    if above is None or below is None:
        return Fraction(number or 0)
    if int(below) == 0:
        raise ValueError("a fraction of an inch over zero")
    return Fraction(whole or 0) + Fraction(int(above), int(below))


def _signed(sign: str, metres: Fraction) -> float:
    return float(-metres if sign == "-" else metres)
