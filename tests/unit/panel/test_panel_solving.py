"""The panel's solves: the touring rig of Harbour Hall, invented and sighted, real solver processes; two answers side by
side."""

from __future__ import annotations

import asyncio
import json
import os
import shutil
from collections.abc import Callable, Coroutine, Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bridge.errors import Refused
from bridge.panel import solving as module
from bridge.panel.solve_compare import compare, of_file
from bridge.panel.solving import Solving
from bridge.rig.fixture import Pose
from bridge.show.load import load
from bridge.show.store import save_sightings
from bridge.solve.measurements import Sighting
from bridge.venue.calibration import aim, aim_errors, grid_points
from bridge.venue.invent import invent

TOUR = Path(__file__).parents[3] / "configs" / "harbour-hall-tour"


@pytest.fixture
def hall(tmp_path: Path) -> Path:
    return Path(shutil.copytree(TOUR, tmp_path / "tour"))


def sight(hall: Path, marks: str, heads: Iterable[str] | None = None, off_deg: dict[str, float] | None = None) -> None:
    """Writes sightings of the invented hall on these marks within 2 cm each; `off_deg`: FIXTURE/MARK wrongly tilted."""
    show = load(hall, with_sightings=False)
    truth, rng, rows = invent(show, 5), np.random.default_rng(5), []
    for name, one in truth.fixtures.items():
        places = np.array([truth.marks[mark] for mark in "ABCDE"]) + 0.02 * rng.standard_normal((5, 3))
        pan, tilt = np.degrees(aim(Pose(one.position, one.rotation, mechanics=one.mechanics), places))
        for mark, p, t in zip("ABCDE", pan, tilt, strict=True):
            if mark in marks and (heads is None or name in heads):
                rows.append(Sighting(name, mark, float(p), float(t) + (off_deg or {}).get(f"{name}/{mark}", 0.0)))
    save_sightings(hall, rows)


def run(hall: Path, body: Callable[[Solving, list[dict[str, Any]]], Coroutine[Any, Any, None]]) -> list[dict[str, Any]]:
    """Runs `body` with a Solving of the hall; returns the news that it told."""
    news: list[dict[str, Any]] = []

    async def whole() -> None:
        solving = Solving(hall, news.append)
        try:
            await body(solving, news)
        finally:
            await solving.close()

    asyncio.run(asyncio.wait_for(whole(), 60))
    return news


def test_a_solve_is_shown_with_its_maps_and_beside_the_poses_in_the_file(hall: Path) -> None:
    sight(hall, "ABCDE")
    files = {p: p.read_bytes() for p in hall.rglob("*") if p.is_file()}

    async def body(solving: Solving, news: list[dict[str, Any]]) -> None:
        solving.ask()
        await solving.idle()
        shown = json.loads(json.dumps(solving.shown(), allow_nan=False))
        assert (shown["running"], shown["number"], shown["failed"]) == (False, 1, None)
        assert len(shown["solve"]["fixtures"]) == 12
        assert set(shown["solve"]["maps"]) == {"x", "y", "worst"}
        assert set(shown["next"]["fixtures"]) == set(shown["solve"]["fixtures"])
        one = solving.map_of("foh-1")
        assert (len(one["p95"]), len(one["p95"][0])) == (len(one["y"]), len(one["x"]))
        with pytest.raises(Refused, match="nobody: no map"):
            solving.map_of("nobody")
        in_file = load(hall).poses
        assert set(shown["compared"]) == set(shown["compared_with_file"]) == set(in_file)
        for name, told in shown["compared"].items():
            new = shown["solve"]["fixtures"][name]
            moved = 100 * np.linalg.norm(np.subtract(new["position"], in_file[name].position))
            turn = Rotation.from_quat(new["rotation"]) * Rotation.from_quat(in_file[name].rotation).inv()
            assert told["moved_cm"] == pytest.approx(moved, abs=0.01)
            assert told["turned_deg"] == pytest.approx(np.degrees(turn.magnitude()), abs=0.002)

    news = run(hall, body)
    assert [told["state"] for told in news if told["state"] != "running"] == ["started", "done"]
    assert news[-1]["text"] == "12 heads solved, 12 trusted"
    assert {p: p.read_bytes() for p in hall.rglob("*") if p.is_file()} == files


def test_before_and_after_two_more_marks_are_side_by_side_and_the_venue_agrees(hall: Path) -> None:
    """Heads get better as predicted: the true aim error, measured in the invented venue, is within its 95 %."""

    async def body(solving: Solving, news: list[dict[str, Any]]) -> None:
        sight(hall, "AC")
        solving.ask()
        await solving.idle()
        sight(hall, "ABCD")
        solving.ask()
        await solving.idle()
        shown = solving.shown()
        show = load(hall)
        truth = invent(show, 5)
        misses = []
        for name, told in shown["compared"].items():
            before, after = told["worst_p95"]
            assert after < before
            assert told["residuals"]["B"][0] is None
            assert told["residuals"]["B"][1] < 0.1
            assert f"from {100 * before:.1f} to {100 * after:.1f} cm" in told["text"]
            new = shown["solve"]["fixtures"][name]
            pose = Pose(tuple(new["position"]), tuple(new["rotation"]))
            misses += [
                np.sqrt(np.mean(aim_errors(pose, truth.fixtures[name], grid_points(show)) ** 2)) / told["rms"][1]
            ]
        assert np.median(misses) < 1.5
        solving.ask()  # nothing new: what it is compared with stays
        await solving.idle()
        assert solving.shown()["compared"] == shown["compared"]

    run(hall, body)


def test_asked_for_again_while_one_runs_makes_one_more_and_the_last_record_counts(hall: Path) -> None:
    sight(hall, "ABC")

    async def body(solving: Solving, news: list[dict[str, Any]]) -> None:
        solving.ask()
        await asyncio.sleep(0.1)
        assert solving.progress["running"]
        sight(hall, "ABCD")
        for _ in range(20):
            solving.ask()
        await solving.idle()
        assert solving.number == 2
        assert solving.latest is not None
        assert set(solving.latest["fixtures"]["foh-1"]["residuals"]) == set("ABCD")
        assert solving.progress["expected_s"] == pytest.approx(solving.last_took_s, abs=0.06)

    news = run(hall, body)
    assert [told["state"] for told in news if told["state"] != "running"] == ["started", "done"] * 2
    expected = [told["expected_s"] for told in news if told["state"] == "started"]
    assert expected[0] == module.FIRST_GUESS_S != expected[1]


def test_a_show_that_cannot_be_solved_yet_says_why_and_where_to_begin(hall: Path) -> None:
    """And the answer before stays on the page."""

    async def body(solving: Solving, news: list[dict[str, Any]]) -> None:
        (hall / "poses.yaml").unlink()  # its trusses would carry over what it holds, and a place that is known to
        rig = (hall / "rig.yaml").read_text().splitlines(keepends=True)  # decimetres makes one mark enough
        (hall / "rig.yaml").write_text("".join(line for line in rig if "at_sigma" not in line))
        sight(hall, "A", heads=["foh-1"])
        solving.ask()
        await solving.idle()
        shown = solving.shown()
        assert shown["solve"] is None
        assert shown["compared"] == {}
        assert any("foh-1: only mark A was sighted" in line for line in shown["failed"]["errors"])
        assert shown["next"]["fixtures"]["foh-1"]["say"] == "first"
        assert shown["next"]["fixtures"]["foh-1"]["candidates"][0]["mark"] == "C"
        sight(hall, "ABCDE")
        solving.ask()
        await solving.idle()
        assert solving.failed is None
        (hall / "stage.yaml").write_text("version: 1\nperformance_polygon: 3\n")
        solving.ask()
        await solving.idle()
        assert any("stage.yaml:2" in line for line in solving.failed["errors"])
        assert len(solving.shown()["solve"]["fixtures"]) == 12

    news = run(hall, body)
    assert [told["state"] for told in news if told["state"] != "running"] == [
        "started", "failed", "started", "done", "started", "failed",
    ]  # fmt: skip
    assert "stage.yaml:2" in news[-1]["text"]


def test_doubts_are_counted_and_stand_beside_their_head(hall: Path) -> None:
    sight(hall, "ABCDE", off_deg={"mid-2/C": 4.0})

    async def body(solving: Solving, news: list[dict[str, Any]]) -> None:
        solving.ask()
        await solving.idle()
        answer = solving.shown()["solve"]
        assert [s["fixture"] for s in answer["suspects"]] == ["mid-2"]
        assert answer["advice_by_fixture"]["mid-2"][0] == answer["suspects"][0]["text"]
        assert answer["next"]["fixtures"]["mid-2"]["say"] == "again"
        assert answer["next"]["fixtures"]["mid-2"]["candidates"][0]["mark"] == "C"

    news = run(hall, body)
    assert news[-1]["text"] == "12 heads solved, 11 trusted; 1 doubt"


def test_close_kills_a_solve_that_runs(hall: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sight(hall, "ABC")
    started: list[int] = []
    monkeypatch.setattr(module, "give_way", started.append)

    async def body(solving: Solving, news: list[dict[str, Any]]) -> None:
        solving.ask()
        while not started:
            await asyncio.sleep(0.01)
        os.kill(started[0], 0)
        await solving.close()
        with pytest.raises(ProcessLookupError):
            os.kill(started[0], 0)

    run(hall, body)


def test_a_solve_gives_way_and_has_one_thread(hall: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Seen in /proc while it runs."""
    sight(hall, "ABC")
    seen: list[tuple[int, str]] = []
    real = module.give_way

    def give_way(pid: int) -> None:
        real(pid)
        seen.append((os.getpriority(os.PRIO_PROCESS, pid), Path(f"/proc/{pid}/environ").read_text()))

    monkeypatch.setattr(module, "give_way", give_way)

    async def body(solving: Solving, news: list[dict[str, Any]]) -> None:
        solving.ask()
        await solving.idle()

    run(hall, body)
    ((priority, environ),) = seen
    assert priority == 10
    assert "OPENBLAS_NUM_THREADS=1" in environ


@pytest.mark.parametrize("kill", [True, False])
def test_a_solver_that_dies_or_takes_too_long_is_told(hall: Path, monkeypatch: pytest.MonkeyPatch, kill: bool) -> None:
    sight(hall, "ABC")
    if kill:
        monkeypatch.setattr(module, "give_way", lambda pid: os.kill(pid, 9))
    else:
        monkeypatch.setattr(module, "TIMEOUT_S", 0.05)

    async def body(solving: Solving, news: list[dict[str, Any]]) -> None:
        solving.ask()
        await solving.idle()
        assert solving.failed is not None

    news = run(hall, body)
    assert ("no answer (exit -9)" if kill else "took longer than") in news[-1]["text"]


def head(at: tuple[float, float, float], turn_deg: float = 0.0, trusted: bool = True, **more: Any) -> dict[str, Any]:
    quaternion = Rotation.from_euler("z", turn_deg, degrees=True).as_quat().tolist()
    errors = {"rms": 0.05, "p95": 0.09, "worst_p95": 0.2}
    return {"position": list(at), "rotation": quaternion, "aim_error": errors, "residuals": {"A": 0.01},
            "trusted": trusted, "verified": True, **more}  # fmt: skip


def test_compare_says_what_moved_turned_came_and_went() -> None:
    before = {"a": head((0, 0, 5)), "b": head((1, 0, 5), trusted=False), "gone": head((2, 0, 5))}
    doubted = dict.fromkeys(("rms", "p95", "worst_p95"))
    after = {
        "a": head((0.03, 0.04, 5), turn_deg=0.5, residuals={"A": 0.02, "B": 0.03}),
        "b": head((1, 0, 5), aim_error={**head((0, 0, 0))["aim_error"], "worst_p95": 0.1}),
        "new": head((3, 0, 5), trusted=False, aim_error=doubted),
    }
    told = compare(before, after)
    assert list(told) == ["a", "b", "new", "gone"]
    assert told["a"]["moved_cm"] == pytest.approx(5.0)
    assert told["a"]["turned_deg"] == pytest.approx(0.5)
    assert told["a"]["residuals"] == {"A": [0.01, 0.02], "B": [None, 0.03]}
    assert told["a"]["text"].endswith("; moved 5.0 cm, turned 0.50 deg")
    assert told["b"]["text"] == "b: predicted miss (95 %) from 20.0 to 10.0 cm; now trusted"
    assert told["new"]["p95"] == [None, None]
    assert told["new"]["trusted"] == [None, False]
    assert told["new"]["text"] == "new: its first pose; nothing is predicted, something looks wrong; NOT trusted"
    assert told["gone"]["text"] == "gone: had a pose and has none now"
    assert told["gone"]["moved_cm"] is None
    by_hand = {"a": {"position": [0, 0, 5], "rotation": [0, 0, 0, 1], "aim_error": doubted, "residuals": {}}}
    assert compare(by_hand, before)["a"]["text"].startswith("a: predicted to miss by 20.0 cm (95 %)")
    by_hand["a"]["aim_error"] = {"rms": 0.06, "p95": 0.12, "worst_p95": None}
    assert "from 12.0 to 9.0 cm" in compare(by_hand, before)["a"]["text"]


def test_poses_of_a_file_are_read_as_an_answer_and_a_broken_one_as_none(hall: Path) -> None:
    heads = of_file(hall)
    assert len(heads) == 12
    assert heads["foh-1"]["position"] == list(load(hall).poses["foh-1"].position)
    (hall / "poses.yaml").write_text("version: 1\nfixtures: [")
    assert of_file(hall) == {}
