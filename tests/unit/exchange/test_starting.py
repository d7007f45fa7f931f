"""The show that `new` writes: of any size it loads, passes `check`, and its heads reach its marks."""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from bridge.commands import check
from bridge.commands.marks import LEAST, served
from bridge.errors import InputError, ShowError
from bridge.exchange import new_folder
from bridge.exchange.new_folder import make_folder
from bridge.exchange.starting import (
    Plan,
    starting_network,
    starting_rig,
    starting_stage,
    universes,
    usual_height,
)
from bridge.follow.engine import Engine
from bridge.rig.rig import Rig
from bridge.show import load
from bridge.show.folder import built_in_profiles, read_tree
from bridge.show.model import Show
from bridge.show.plot import plot_poses
from bridge.show.profile import read_profile

FOOTPRINTS = {name: read_profile(read_tree(path)[0]).footprint for name, path in built_in_profiles().items()}
SIZES = st.floats(2.0, 200.0)
NAMES = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S")), min_size=1, max_size=80)
LEFT_TO_DO = {("poses.yaml", "without a pose, so dark"), ("network.yaml", "OUTPUT STAYS ON THIS MACHINE")}


def plan_of(**keys: Any) -> Plan:
    usual = {"name": "Harbour Hall", "width": 12.0, "depth": 8.0, "trusses": 3, "heads": 4, "profile": "spot-16bit"}
    found = usual | keys
    found.setdefault("height", usual_height(found["width"], found["depth"]))
    return Plan(footprint=FOOTPRINTS[found["profile"]], **found)


def files_of(plan: Plan) -> dict[str, str]:
    stage = starting_stage(plan.name, plan.width, plan.depth)
    return {"stage.yaml": stage, "network.yaml": starting_network(), "rig.yaml": starting_rig(plan)}


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("new")


def made(place: Path, plan: Plan) -> Show:
    shutil.rmtree(place / "show", ignore_errors=True)
    make_folder(place / "show", files_of(plan))
    return load(place / "show")


def findings(show: Show) -> list[dict[str, str]]:
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        check.run(argparse.Namespace(show=show.path, strict=False, json=True, live=None, state=None))
    return list(json.loads(out.getvalue())["findings"])


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(NAMES, SIZES, SIZES, st.integers(1, 12), st.integers(1, 14), st.sampled_from(sorted(FOOTPRINTS)))
def test_every_show_passes_check_and_its_heads_reach_its_marks(
    place: Path, name: str, width: float, depth: float, trusses: int, heads: int, profile: str
) -> None:
    plan = plan_of(name=name, width=width, depth=depth, trusses=trusses, heads=heads, profile=profile)
    show = made(place, plan)
    assert (show.name, len(show.fixtures)) == (name, trusses * heads)
    found = findings(show)
    warned = {(f["where"], f["what"].split(":")[0]) for f in found if f["level"] != "note"}
    assert warned == LEFT_TO_DO
    rig = Rig.from_fixtures(show.fixtures, plot_poses(show.fixtures, {}))
    by = served(show, Engine(rig, show.stage, show.network.lost_input, {}))
    assert len(by) == plan.count
    assert min(len(marks.floor) for marks in by.values()) >= LEAST


@given(st.integers(1, 12), st.integers(1, 96), st.sampled_from(sorted(FOOTPRINTS)))
@settings(max_examples=20, deadline=None)
def test_universes_are_full_before_the_next_and_nothing_overlaps(
    place: Path, trusses: int, heads: int, profile: str
) -> None:
    plan = plan_of(trusses=trusses, heads=heads, profile=profile)
    show = made(place, plan)
    size = plan.footprint
    slots = [(f.universe, f.address + n) for f in show.fixtures for n in range(size)]
    assert len(set(slots)) == len(slots)
    assert max(slot for _, slot in slots) <= 512
    used = [sum(f.universe == u for f in show.fixtures) for u in range(1, universes(plan.count, size) + 1)]
    assert used[:-1] == [512 // size] * (len(used) - 1)
    assert 1 <= used[-1] <= 512 // size
    assert sum(used) == plan.count


def test_a_dozen_spots_hang_in_front_and_on_both_sides(place: Path) -> None:
    show = made(place, plan_of())
    assert [f.truss for f in show.fixtures] == ["foh"] * 4 + ["left"] * 4 + ["right"] * 4
    assert [f.at for f in show.fixtures[:4]] == [(-4.5, -8, 8), (-1.5, -8, 8), (1.5, -8, 8), (4.5, -8, 8)]
    assert {f.at[0] for f in show.fixtures if f.at and f.truss == "left"} == {-8.0}
    assert {f.hang.yaw for f in show.fixtures if f.truss == "left"} == {-90}
    assert {f.universe for f in show.fixtures} == {1}


def test_forty_eight_heads_take_two_universes(place: Path) -> None:
    show = made(place, plan_of(width=18.0, depth=12.0, trusses=4, heads=12))
    assert sorted({f.universe for f in show.fixtures}) == [1, 2]
    assert sorted({f.truss or "" for f in show.fixtures}) == ["back", "foh", "left", "right"]


@settings(max_examples=30, deadline=None)
@given(SIZES, SIZES)
def test_marks_lie_inside_at_one_height_far_out_and_in_no_rectangle(place: Path, width: float, depth: float) -> None:
    stage = made(place, plan_of(width=width, depth=depth)).stage
    at = {name: mark.at or (0, 0, 0) for name, mark in stage.marks.items()}
    assert all(abs(x) < width / 2 and 0 < y < depth and z == 0 for x, y, z in at.values())
    (ax, ay, _), (bx, by, _), (cx, cy, _), (dx, dy, _) = (at[name] for name in "ABCD")
    assert bx - ax > 0.7 * width, "A and B lie diagonally"
    assert by - ay > 0.7 * depth
    assert (ax + bx, ay + by) != pytest.approx((cx + dx, cy + dy), abs=0.01), "a parallelogram could be begun wrongly"


def test_a_failure_on_the_way_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    target = tmp_path / "show"
    with pytest.raises(ShowError):
        make_folder(target, files_of(plan_of()) | {"stage.yaml": "version: 1\n"})
    assert list(tmp_path.iterdir()) == []

    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(new_folder.os, "rename", stopped)
    with pytest.raises(KeyboardInterrupt):
        make_folder(target, files_of(plan_of()))
    assert list(tmp_path.iterdir()) == []


def test_a_folder_with_other_things_keeps_them(tmp_path: Path) -> None:
    (tmp_path / "plot.mvr").write_bytes(b"PK")
    make_folder(tmp_path, files_of(plan_of()))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["network.yaml", "plot.mvr", "rig.yaml", "stage.yaml"]
    assert len(load(tmp_path).fixtures) == 12


@pytest.mark.parametrize("links", [True, False])
def test_a_file_that_comes_meanwhile_is_never_replaced_and_the_others_go(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    real = new_folder.load

    def meanwhile(*args: Any, **keys: Any) -> Show:
        (tmp_path / "rig.yaml").write_text("mine")
        return real(*args, **keys)

    def no_links(*_: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(new_folder, "load", meanwhile)
    if not links:
        monkeypatch.setattr(new_folder.os, "link", no_links)
    with pytest.raises(InputError, match=r"cannot be written: .*nothing has changed"):
        make_folder(tmp_path, files_of(plan_of()))
    assert [p.name for p in tmp_path.iterdir()] == ["rig.yaml"]
    assert (tmp_path / "rig.yaml").read_text() == "mine"


def test_without_hard_links_files_are_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def no_links(*_: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(new_folder.os, "link", no_links)
    make_folder(tmp_path, files_of(plan_of()))
    assert len(load(tmp_path).fixtures) == 12


@pytest.mark.parametrize(
    "name", ["rig.yaml", "stage.yaml", "network.yaml", "poses.yaml", "sightings.yaml", "frames.yaml", "imported.yaml",
             "profiles/x.yaml"]
)  # fmt: skip
def test_a_folder_with_any_file_of_a_show_is_refused(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.parent.mkdir(exist_ok=True)
    path.write_text("mine")
    with pytest.raises(InputError, match=f"found {name}: a show is there already"):
        make_folder(tmp_path, files_of(plan_of()))
    assert path.read_text() == "mine"
