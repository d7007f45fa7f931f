"""The page's files, read without a browser: nothing from elsewhere, legible colours, words of our own list."""

from __future__ import annotations

import re

import pytest

from bridge.venue.view import PAGE
from bridge.web.files import SHARED

FILES = sorted([*PAGE.iterdir(), *SHARED.iterdir()])
GRADES = ("on", "wide", "off", "lit", "dark")
TEXTS = ("text", "quiet", "believed", *GRADES)
GROUNDS = ("ground", "surface", "raised")


def _luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2 "relative luminance" (sRGB)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(first: str, second: str) -> float:
    """Contrast ratio, WCAG 2.2 "contrast ratio"."""
    light, dark = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def _colours() -> dict[str, str]:
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", (PAGE / "style.css").read_text()))


def test_contrast_of_black_on_white_is_21() -> None:
    """The end of the scale as the standard states it."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("text", TEXTS)
def test_text_is_legible(text: str, ground: str) -> None:
    """WCAG 2.2, 1.4.3 asks 4.5 : 1 for text of any size."""
    colours = _colours()
    assert contrast(colours[text], colours[ground]) >= 4.5


def test_button_that_is_on_and_banner_are_legible() -> None:
    assert contrast("#1c1208", _colours()["lamp"]) >= 4.5
    assert contrast("#2a1606", "#ffd9a0") >= 7


def test_grades_have_the_same_colours_on_the_drawing_as_in_the_list() -> None:
    colours = _colours()
    drawn = dict(re.findall(r'^  (\w+): \{.*colour: "(#[0-9a-f]{6})"', (PAGE / "grades.js").read_text(), re.M))
    assert drawn == {name: colours[name] for name in GRADES}


def test_grades_differ_in_shape_and_word() -> None:
    text = (PAGE / "grades.js").read_text()
    words = re.findall(r'word: "([\w ]+)", shape: "(\w+)"', text)
    assert len(words) == 5
    assert len({word for word, _ in words}) == len({shape for _, shape in words}) == 5


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_no_file_names_another_machine(path) -> None:
    found = re.findall(r"https?://[^\s\"'`)]+", path.read_text())
    assert [url for url in found if url != "http://www.w3.org/2000/svg"] == []  # the name of SVG, never fetched


@pytest.mark.parametrize("path", [p for p in FILES if p.suffix == ".js"], ids=lambda path: path.name)
def test_every_import_is_a_file_of_the_page(path) -> None:
    for name in re.findall(r'from "([^"]+)"', path.read_text()):
        assert name.startswith("./")
        assert (PAGE / name).is_file() or (SHARED / name).is_file()


def test_page_has_no_script_or_style_of_its_own_that_the_policy_would_stop() -> None:
    html = (PAGE / "index.html").read_text()
    assert re.findall(r"<script(?![^>]*\bsrc=)", html) == []
    assert "<style" not in html
    assert re.findall(r"\s(?:on\w+|style)=", html) == []
