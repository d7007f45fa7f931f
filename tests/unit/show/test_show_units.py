"""Lengths against the exact definitions: 1 yard = 0.9144 m, so 1 ft = 0.3048 m and 1 in = 25.4 mm (international yard
and pound agreement, 1959)."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.show.units import metres_from_text


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        ("3.2 m", 3.2),
        ("320 cm", 3.2),
        ("3200 mm", 3.2),
        ("3.2m", 3.2),
        ("126 in", 3.2004),
        ("10' 6\"", 3.2004),
        ("10'6\"", 3.2004),
        ("10 ft 6 in", 3.2004),
        ("10.5 ft", 3.2004),
        ("10.5'", 3.2004),
        ('126"', 3.2004),
        ("10′ 6″", 3.2004),
        ("36 in", 0.9144),
        ("3 ft", 0.9144),
        ("1 in", 0.0254),
        ("6 1/2 in", 0.1651),
        ("5' 6-1/2\"", 1.6891),
        ('1/4"', 0.00635),
        ("-10' 6\"", -3.2004),
        ("-320 cm", -3.2),
        ("−3.2 m", -3.2),
        ("+1 m", 1.0),
        (" .5 m ", 0.5),
        ("0 m", 0.0),
    ],
)
def test_lengths(text: str, metres: float) -> None:
    assert metres_from_text(text) == metres  # exact: computed in fractions, rounded once


@pytest.mark.parametrize(
    "text",
    ["", " ", "3.2", "m", "3,2 m", "3.2 M", "3.2 km", "10' 6' ", '6" 10\'', "1e3 m", "1/0 in", "'", '"', "- m", "nan m",
     "10 m 5 cm", "3..2 m", "1/2 m", "ten m", "--3 m", "9" * 5000 + " m"],
)  # fmt: skip
def test_what_is_no_length(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011
        metres_from_text(text)


@settings(deadline=None)
@given(st.text(alphabet="0123456789.'\"/ -+mcinft′″", max_size=14))
def test_any_text_is_a_finite_length_or_a_value_error(text: str) -> None:
    with contextlib.suppress(ValueError):
        assert abs(metres_from_text(text)) < 1e13
