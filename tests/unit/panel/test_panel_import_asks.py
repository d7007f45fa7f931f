"""An import for the page, in parts: options, what a page is shown of a long one, the digest, what was printed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from bridge.errors import Refused
from bridge.panel.import_asks import MOST_CHANGES, MOST_LINES, for_page, words_of
from bridge.panel.import_process import _read, command, digest_of


def test_answers_become_options_that_no_answer_can_add_to() -> None:
    answers = [
        {"key": "mode", "about": "Beacon", "value": "--json"},
        {"key": "profile", "about": "Old", "value": "profiles/x.yaml"},
        {"key": "map", "about": "a=b", "value": "address"},
    ]
    assert words_of(answers) == ["--mode=--json", "--profile=Old=profiles/x.yaml", "--map=a=b=address"]
    assert words_of([]) == []
    with pytest.raises(Refused, match="mode, profile or map"):
        words_of([{"key": "dry-run", "about": "", "value": ""}])


def test_a_look_never_writes_and_is_inside_limits() -> None:
    look, take = (command(Path("/show"), Path("/f.csv"), ["--mode=x"], write) for write in (False, True))
    assert look[1:] == ["-m", "bridge.panel.limited", "tied", "-m", "bridge", "import", "/show", "/f.csv", "--json",
                        "--dry-run", "--mode=x"]  # fmt: skip
    assert "--dry-run" not in take
    assert take[3] == "free"


def test_a_page_gets_no_more_than_it_can_show_and_is_told_how_much_there_is() -> None:
    shown = for_page({"changes": [{}] * 5000, "notes": ["x"] * 2000, "fixtures": [{}] * 500, "asks": None})
    assert (len(shown["changes"]), len(shown["notes"]), shown["asks"]) == (MOST_CHANGES, MOST_LINES, [])
    assert "fixtures" not in shown
    assert [shown["counts"][part] for part in ("changes", "notes", "fixtures", "asks")] == [5000, 2000, 500, 0]


@pytest.mark.parametrize(
    ("file", "counts"),
    [("rig.yaml", True), ("imported.yaml", True), ("profiles/new.yaml", True), ("profiles/x.yml", True),
     ("sightings.yaml", False), ("poses.yaml", False), ("rig.previous.yaml", False)],
)  # fmt: skip
def test_the_digest_is_of_what_an_import_meets(tmp_path: Path, file: str, counts: bool) -> None:
    (tmp_path / "profiles").mkdir()
    (tmp_path / "stage.yaml").write_text("version: 1")
    before = digest_of(tmp_path)
    assert digest_of(tmp_path) == before
    (tmp_path / file).write_text("version: 1")
    assert (digest_of(tmp_path) != before) == counts


@pytest.mark.parametrize(
    ("code", "out", "err", "found"),
    [
        (0, b'{"changes": []}', b"", {"changes": []}),
        (2, b'{"errors": ["PLACE/rig.mvr: is broken"]}', b"", {"errors": ["rig.mvr: is broken"]}),
        (2, b"{}", b"", {"errors": ["exit code 2"]}),
        (1, b"", b"Traceback\nKeyError: 'x'", {"errors": ["the import gave no answer (exit code 1): KeyError: 'x'"]}),
        (1, b"[" * 100_000, b"", {"errors": ["the import gave no answer (exit code 1): it said nothing"]}),
        (0, b"3", b"odd", {"errors": ["the import gave no answer (exit code 0): odd"]}),
    ],
)
def test_what_the_process_printed(tmp_path: Path, code: int, out: bytes, err: bytes, found: dict[str, Any]) -> None:
    answer, said = tmp_path / "answer.json", tmp_path / "said.txt"
    answer.write_bytes(out.replace(b"PLACE", str(tmp_path).encode()))
    said.write_bytes(err)
    assert _read(code, answer, said) == found


@pytest.mark.parametrize(("code", "err"), [(-9, b""), (-24, b""), (-11, b""), (1, b"MemoryError")])
def test_a_process_that_was_ended_is_said_in_words(tmp_path: Path, code: int, err: bytes) -> None:
    answer, said = tmp_path / "answer.json", tmp_path / "said.txt"
    answer.write_bytes(b"")
    said.write_bytes(err)
    [text] = _read(code, answer, said)["errors"]
    assert text.startswith("This file asks for more than is given to it (60 s, 1 GB of memory)")
