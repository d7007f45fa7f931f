# ruff: noqa: E501 (rows of a table stay rows)
"""Whatever stands in the files: a show, or a ShowError whose every line is `file:line: text`. Never anything else."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bridge.errors import ShowError
from bridge.show import load

LINE = re.compile(r"(rig|stage|network|sightings|poses|frames|profiles/spot)\.yaml:[1-9][0-9]*: .+")
FILES = st.sampled_from(
    ["rig.yaml", "stage.yaml", "network.yaml", "sightings.yaml", "poses.yaml", "frames.yaml", "profiles/spot.yaml"]
)
TOKENS = st.sampled_from(
    ["", "-", "0", "-1", "1e999", ".nan", "-.inf", "null", "~", "on", "no", "[]", "{}", "[[]]", "[1, 2, 3]", "{a: 1}",
     "'", '"', ":", "\t", "\n", "  ", "&a", "*a", "!!int x", "? ", "|", "%", "@", "# ", "---\n", "...\n", "<<: ", "\x00",
     "é", "\u2028", "999999999999999999999999", "9" * 5000, "0x10", "1.5", "unknown", "foh-1", "../..", "/dev/zero", "A",
     '"\\ud800"', '"\\0"', "10' 6\"", "1/0 in", "[x, [y]]", "version: 1", "fixtures:",
     "eth0", "eth0:9000", "off", "captures/../..", ".", "{reset: {slots: {1: 1}, hold: 0, dark: 0}}", "{slots: {0x13: 250}}",
     "{tight: 0.8, 2: 1}", "{0: 0, 0x0: 1, ~: 2}", "tags", "1/7", "[{input: tags, point: 1/7}]", "psn", "-x", "auto"]
)  # fmt: skip
RELAXED = settings(
    deadline=None, max_examples=250, suppress_health_check=[HealthCheck.function_scoped_fixture], print_blob=True
)


INPUTS = """inputs:
  tags: {protocol: otp, interface: eth0, system: 3}
  stage: {protocol: psn, to: "236.10.10.10:56565"}
  sound: {protocol: adm-osc, listen: "127.0.0.1:4001"}
"""
TARGETS = """targets:
  lead: {source: [{input: tags, point: 1/7, z: tag}, {input: stage, point: 4}], motion: {predict: off, fastest: 9, noise: auto, delay: 0.1}}
  second: {source: {input: sound, point: 3}, motion: {noise: 2 cm}}
"""
FRAMES = """version: 1
frames:
  tags: {axes: [x, -z, y], turn: 90, origin: [1, 2 m, 3], scale: 0.5, sigma: 0.03, solved_from: [{mark: A, point: 1/7, at: [1, 2, 3]}]}
  stage: {rotation: [0, 0, 0, 1], recorded: [{mark: B, point: 4, at: [1, 2, 3], sigma: 0.01}]}
"""


@pytest.fixture
def new_folder(new_folder) -> Callable[[], Any]:
    """A show that has tracking inputs too."""

    def make() -> Any:
        folder = new_folder()
        folder.files["network.yaml"] += INPUTS
        folder.files["stage.yaml"] = re.sub("targets: .*\n", TARGETS, folder.files["stage.yaml"])
        folder.files["frames.yaml"] = FRAMES
        return folder

    return make


def test_the_show_that_is_damaged_is_whole(new_folder) -> None:
    show = new_folder().load()
    assert (len(show.network.inputs), [len(target.sources) for target in show.stage.targets]) == (3, [2, 1])
    assert list(show.frames) == ["tags", "stage"]


def _must_be_told_plainly(folder) -> None:
    lines = ["rig.yaml:1: (loaded)"]
    try:
        assert load(folder.write()).fixtures
    except ShowError as error:
        lines = error.lines
    assert lines
    for line in lines:
        assert LINE.fullmatch(line), line
        assert line.isprintable(), line
        assert len(line) < 2000


@RELAXED
@given(file=FILES, changes=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 12), TOKENS), min_size=1, max_size=4))
def test_pieces_replaced(new_folder, file: str, changes: list[tuple[float, int, str]]) -> None:
    folder = new_folder()
    for where, removed, token in changes:
        text = folder.files[file]
        at = int(where * len(text))
        folder.files[file] = text[:at] + token + text[at + removed :]
    _must_be_told_plainly(folder)


@RELAXED
@given(file=FILES, pick=st.floats(0, 0.999), token=TOKENS)
def test_one_value_replaced(new_folder, file: str, pick: float, token: str) -> None:
    folder = new_folder()
    values = list(re.finditer(r"(?<=[:\[,] )[^\s,\]}{\[]+|(?<=: )[\[{][^\n]*", folder.files[file]))
    match = values[int(pick * len(values))]
    folder.files[file] = folder.files[file][: match.start()] + token + folder.files[file][match.end() :]
    _must_be_told_plainly(folder)


@RELAXED
@given(file=FILES, data=st.binary(max_size=80), whole=st.booleans())
def test_any_bytes(new_folder, file: str, data: bytes, whole: bool) -> None:
    folder = new_folder()
    folder.files[file] = data if whole else b"version: 1\n" + data
    _must_be_told_plainly(folder)


@RELAXED
@given(file=FILES, first=st.floats(0, 1), second=st.floats(0, 1))
def test_lines_moved_and_dropped(new_folder, file: str, first: float, second: float) -> None:
    folder = new_folder()
    lines = folder.files[file].splitlines(keepends=True)
    line = lines.pop(int(first * (len(lines) - 1)))
    lines.insert(int(second * len(lines)), line)
    folder.files[file] = "".join(lines)
    _must_be_told_plainly(folder)
    lines.remove(line)
    folder.files[file] = "".join(lines)
    _must_be_told_plainly(folder)


@pytest.mark.parametrize("token", ["1e400", "9" * 400, "-" + "9" * 401, "0x" + "f" * 500, "0o" + "7" * 500])
def test_numbers_beyond_all_floats(folder, token: str) -> None:
    folder.edit("rig.yaml", "[-4.0, -12.0, 9.0]", f"[{token}, 0, 0]")
    folder.edit("rig.yaml", "universe: 1", f"universe: {token}")
    assert len(folder.problems()) == 2
