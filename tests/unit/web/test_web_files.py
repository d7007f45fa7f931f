"""A page's files from several folders, and strict JSON."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from bridge.web.files import SHARED, read_pages
from bridge.web.plain import as_json


def test_folders_are_served_as_one(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    (tmp_path / "a" / "index.html").write_text("page")
    (tmp_path / "b" / "plan.js").write_text("code")
    (tmp_path / "b" / "notes.txt").write_text("not served")
    (tmp_path / "b" / "deep.js").mkdir()
    assert read_pages(tmp_path / "a", tmp_path / "b") == {
        "index.html": (b"page", "text/html"), "plan.js": (b"code", "text/javascript"),
    }  # fmt: skip


def test_one_name_twice_is_an_error(tmp_path: Path) -> None:
    (tmp_path / "camera.js").write_text("another camera")
    with pytest.raises(ValueError, match=r"camera\.js"):
        read_pages(SHARED, tmp_path)


def test_json_is_strict_whatever_is_computed() -> None:
    """JSON has no Infinity and no NaN (RFC 8259, section 6); a browser would refuse the whole frame."""
    value = {"height": (0.0, float("inf")), "at": np.array([1.0, np.nan]), "n": np.int64(3), "f": np.float32(0.5)}
    assert json.loads(as_json(value)) == {"height": [0.0, None], "at": [1.0, None], "n": 3, "f": 0.5}


def test_what_json_cannot_say_is_an_error_that_names_the_type() -> None:
    with pytest.raises(TypeError, match="object"):
        as_json({"x": object()})
