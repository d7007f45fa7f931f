"""`tetherlight solve` as a user runs it: files in, poses.yaml, JSON, page and exit codes out."""

import json
import subprocess
import sys
from html.parser import HTMLParser

import numpy as np
import pytest
import yaml

from bridge.show import load
from bridge.show.poses_of import words
from tests.unit.solve import rigs_for_solve as rigs

PROFILE = {
    "version": 1, "name": "made up", "footprint": 8,
    "channels": {"pan": [1, 2], "tilt": [3, 4], "dimmer": [5, 6], "focus": [7, 8]},
    "pan": {"from": 270, "to": -270}, "tilt": {"from": -135, "to": 135},
    "focus": {"table": [[3.0, 60000], [8.0, 31000], [20.0, 12000]]},
}  # fmt: skip


def folder(path, rig, sightings, places=rigs.FIVE, truss=None, **stage):
    (path / "profiles").mkdir(parents=True)
    (path / "profiles" / "spot.yaml").write_text(yaml.safe_dump(PROFILE))
    fixtures = [
        {"name": f"h{i}", "profile": "profiles/spot.yaml", "universe": 1, "address": 1 + 8 * i}
        | ({"truss": truss} if truss else {})
        for i in range(len(rig))
    ]
    marks = {n: [float(v) for v in at] for n, at in zip(rigs.NAMES, places, strict=False)}
    rig_text = yaml.safe_dump({"version": 1, "name": "Made-up hall <1>", "fixtures": fixtures})
    (path / "rig.yaml").write_text(rig_text)
    polygon = {"corners": [list(c) for c in rigs.CORNERS]}
    place = {"version": 1, "performance_polygon": polygon, "marks": marks, **stage}
    (path / "stage.yaml").write_text(yaml.safe_dump(place))
    rows = [
        {"fixture": s.fixture, "mark": s.mark, "pan": s.pan, "tilt": s.tilt}
        | ({} if s.focus is None else {"focus": s.focus})
        for s in sightings
    ]
    (path / "sightings.yaml").write_text(yaml.safe_dump({"version": 1, "sightings": rows}))
    return path


def run(*words):
    return subprocess.run([sys.executable, "-m", "bridge", "solve", *map(str, words)], capture_output=True, text=True)


@pytest.fixture
def rig():
    return rigs.rig(np.random.default_rng(1), 4)


@pytest.fixture
def show(tmp_path, rig):
    return folder(tmp_path / "show", rig, rigs.sight(np.random.default_rng(2), rig, rigs.FIVE))


def test_json_is_one_document_and_poses_are_written_and_good(show, rig):
    done = run(show, "--json")
    assert (done.returncode, done.stderr) == (0, "")
    answer = json.loads(done.stdout)
    assert answer["trusted"] is True
    assert set(answer["fixtures"]) == {"h0", "h1", "h2", "h3"}
    assert set(answer["fixtures"]["h0"]) >= {"position", "rotation", "faces", "aim_error", "residuals"}
    assert answer["fixtures"]["h0"]["faces"] == [1]
    assert set(answer["fixtures"]["h0"]["residuals"]) == set("ABCDE")
    loaded = load(show)
    for i, head in enumerate(rig):
        assert np.allclose(loaded.poses[f"h{i}"].position, head.p, atol=0.5)
        assert loaded.poses[f"h{i}"].trusted
        assert loaded.poses[f"h{i}"].faces == (1,)
    assert set(loaded.solved_marks) == set("ABCDE")
    (said,) = [text for _, text in words(loaded)]
    assert said.startswith("poses of Made-up hall <1>, solved 20")


def test_the_table_tells_what_a_person_needs(show):
    done = run(show)
    assert done.returncode == 0
    for word in ("h0", "aim rms", "95 %", "residuals cm", "Advice", "poses.yaml written, trusted"):
        assert word in done.stdout


def test_dry_run_writes_nothing(show):
    before = {p: p.read_bytes() for p in show.rglob("*") if p.is_file()}
    assert run(show, "--dry-run", "--json").returncode == 0
    assert {p: p.read_bytes() for p in show.rglob("*") if p.is_file()} == before


def test_maps_are_added_to_the_same_answer(show):
    plain, told = (json.loads(run(show, "--dry-run", "--json", *more).stdout) for more in ([], ["--maps"]))
    maps = told["maps"]
    assert {key: told[key] for key in plain} == plain
    assert set(told) - set(plain) == {"maps", "next", "advice_by_fixture"}
    assert set(maps["fixtures"]) == set(told["next"]["fixtures"]) == {"h0", "h1", "h2", "h3"}
    for name, one in maps["fixtures"].items():
        assert np.max(one["p95"]) == pytest.approx(plain["fixtures"][name]["aim_error"]["worst_p95"], rel=0.03)


def test_where_nothing_can_be_solved_maps_tell_where_to_begin(show):
    rows = yaml.safe_load((show / "sightings.yaml").read_text())
    rows["sightings"] = [s for s in rows["sightings"] if s["mark"] == "A" and s["fixture"] == "h1"]
    (show / "sightings.yaml").write_text(yaml.safe_dump(rows))
    done = run(show, "--dry-run", "--json", "--maps")
    answer = json.loads(done.stdout)
    assert (done.returncode, done.stderr) == (4, "")
    assert any("h1: only mark A was sighted" in line for line in answer["errors"])
    assert {head["say"] for head in answer["next"]["fixtures"].values()} == {"first"}
    assert answer["next"]["fixtures"]["h1"]["candidates"][0]["mark"] == "C"


def test_a_second_solve_keeps_the_previous_poses(show):
    run(show)
    first = (show / "poses.yaml").read_text()
    sightings = yaml.safe_load((show / "sightings.yaml").read_text())
    sightings["sightings"] = sightings["sightings"][:-1]
    (show / "sightings.yaml").write_text(yaml.safe_dump(sightings))
    run(show)
    assert (show / "poses.previous.yaml").read_text() == first


def test_unsolvable_is_exit_4_and_the_old_poses_stay(show):
    run(show)
    old = (show / "poses.yaml").read_bytes()
    rows = yaml.safe_load((show / "sightings.yaml").read_text())
    rows["sightings"] = [s for s in rows["sightings"] if s["mark"] == "A"]
    (show / "sightings.yaml").write_text(yaml.safe_dump(rows))
    done = run(show, "--json")
    assert done.returncode == 4
    assert "second mark" in " ".join(json.loads(done.stdout)["errors"])
    assert (show / "poses.yaml").read_bytes() == old


def test_one_that_cannot_be_solved_keeps_its_old_pose(show):
    run(show)
    old = load(show).poses["h3"].position
    rows = yaml.safe_load((show / "sightings.yaml").read_text())
    rows["sightings"] = [s for s in rows["sightings"] if s["fixture"] != "h3" or s["mark"] == "A"]
    (show / "sightings.yaml").write_text(yaml.safe_dump(rows))
    done = run(show, "--json")
    answer = json.loads(done.stdout)
    assert done.returncode == 0
    assert "h3" in answer["unsolved"]
    assert any("h3" in text for text in answer["advice"])
    assert np.allclose(load(show).poses["h3"].position, old)


def test_a_head_that_was_solved_far_from_its_place_in_the_plot_is_told(show, rig):
    document = yaml.safe_load((show / "rig.yaml").read_text())
    for fixture, head in zip(document["fixtures"], rig, strict=True):
        fixture["at"] = [round(float(v), 1) for v in head.p]
    document["fixtures"][1]["at"][0] += 2.0
    (show / "rig.yaml").write_text(yaml.safe_dump(document))
    told = [text for text in json.loads(run(show, "--json").stdout)["advice"] if "place in the plot" in text]
    assert len(told) == 1
    assert told[0].startswith("h1: solved ")
    rows = yaml.safe_load((show / "sightings.yaml").read_text())
    for row in rows["sightings"]:
        row["mark"] = {"A": "B", "B": "A"}.get(row["mark"], row["mark"]) if row["fixture"] == "h1" else row["mark"]
    (show / "sightings.yaml").write_text(yaml.safe_dump(rows))
    answer = json.loads(run(show, "--json").stdout)
    assert [(s["fixture"], s["kind"]) for s in answer["suspects"]] == [("h1", "swap")]
    assert not any("place in the plot" in text for text in answer["advice"]), "what only follows is not told again"


def test_a_kept_head_keeps_everything_that_its_entry_held(show):
    run(show)
    document = yaml.safe_load((show / "poses.yaml").read_text())
    before = document["fixtures"]["h3"]
    before |= {"unit": "A-1043", "rests_on": ["level"], "face_note": "by eye"}
    assert len(before["covariance"]) == 21
    (show / "poses.yaml").write_text(yaml.safe_dump(document))
    rows = yaml.safe_load((show / "sightings.yaml").read_text())
    rows["sightings"] = [s for s in rows["sightings"] if s["fixture"] != "h3"]
    (show / "sightings.yaml").write_text(yaml.safe_dump(rows))
    assert run(show).returncode == 0
    kept = yaml.safe_load((show / "poses.yaml").read_text())["fixtures"]["h3"]
    assert {key: kept[key] for key in before} == before
    assert kept["notes"] == "kept from an earlier solve"


def test_a_damaged_poses_file_is_set_aside_told_and_solved_anew(show):
    run(show)
    good = (show / "poses.yaml").read_text()
    (show / "poses.yaml").write_text(good + "# looked at\n")  # two solves in one second write the same
    run(show, "--from", show)  # another solve, so that there is a version before
    previous = (show / "poses.previous.yaml").read_text()
    broken = good[: len(good) // 2] + "\n  h2: {position: ["
    (show / "poses.yaml").write_text(broken)
    done = run(show, "--dry-run", "--json")
    assert done.returncode == 0
    assert (show / "poses.yaml").read_text() == broken
    done = run(show, "--json")
    assert done.returncode == 0
    (kept,) = show.glob("poses.damaged-20??-??-??.yaml")
    assert kept.read_text() == broken
    answer = json.loads(done.stdout)
    assert answer["advice"][0] == f"poses.yaml is DAMAGED, so it is kept as {kept.name} and its poses are not used:"
    assert answer["advice"][1].startswith("poses.yaml:")
    assert answer["warnings"][-2:] == answer["advice"][:2]
    assert set(load(show).poses) == {"h0", "h1", "h2", "h3"}
    assert (show / "poses.previous.yaml").read_text() == previous, "the damaged one is no version to go back to"
    (show / "poses.yaml").write_text("[")
    out = run(show).stdout
    assert "kept as poses.damaged-" in out
    assert out.count("DAMAGED") == 1, "told once to a person"
    assert len(list(show.glob("poses.damaged-*-2.yaml"))) == 1


def test_a_sound_pose_above_accept_is_called_not_accepted_and_not_doubted(show):
    with (show / "stage.yaml").open("a") as file:
        file.write("accept: 0.01\n")
    out = run(show, "--dry-run").stdout
    assert out.count("(not accepted)") == 4
    assert "(doubted)" not in out
    assert "more than accept in stage.yaml" in out


def test_another_damaged_file_or_no_solution_sets_nothing_aside(show):
    (show / "poses.yaml").write_text("[")
    stage = (show / "stage.yaml").read_text()
    (show / "stage.yaml").write_text("[")
    done = run(show, "--json")
    assert done.returncode == 2
    assert {line.split(":")[0] for line in json.loads(done.stdout)["errors"]} == {"stage.yaml", "poses.yaml"}
    (show / "stage.yaml").write_text(stage)
    (show / "sightings.yaml").write_text("version: 1\nsightings: []\n")
    assert run(show).returncode == 4
    assert (show / "poses.yaml").read_text() == "["


@pytest.mark.parametrize("command", ["run", "check"])
def test_run_and_check_say_what_is_damaged_and_what_to_do(show, command):
    (show / "poses.yaml").write_text("version: 1\nfixtures:\n  h0: {position: [1, 2]}\n")
    done = subprocess.run([sys.executable, "-m", "bridge", command, show], capture_output=True, text=True, timeout=60)
    assert done.returncode == 2
    lines = done.stderr.splitlines()
    assert lines[0].startswith("poses.yaml:3: fixtures.h0.position: ")
    assert lines[-1].startswith("poses.yaml is DAMAGED")
    assert "tetherlight solve" in lines[-1]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"fixture": "h9"}, "h9"),
        ({"mark": "Q"}, "Q"),
        ({"pan": float("nan")}, "sightings.yaml:"),
        ({"tilt": 170.0}, "135"),
        ({"mark": "B"}, "h0"),
    ],
)
def test_bad_sightings_are_exit_2_with_file_and_line(show, change, words):
    rows = yaml.safe_load((show / "sightings.yaml").read_text())
    rows["sightings"][0] |= change
    (show / "sightings.yaml").write_text(yaml.safe_dump(rows))
    done = run(show, "--json")
    assert done.returncode == 2
    told = " ".join(json.loads(done.stdout)["errors"])
    assert "sightings.yaml:" in told
    assert words in told
    assert not (show / "poses.yaml").exists()


def test_a_doubt_is_exit_0_and_untrusted(show):
    rows = yaml.safe_load((show / "sightings.yaml").read_text())
    bad = next(s for s in rows["sightings"] if (s["fixture"], s["mark"]) == ("h1", "D"))
    bad["tilt"] += 3
    (show / "sightings.yaml").write_text(yaml.safe_dump(rows))
    done = run(show, "--json")
    answer = json.loads(done.stdout)
    assert done.returncode == 0
    assert answer["trusted"] is False
    assert (answer["suspects"][0]["fixture"], answer["suspects"][0]["mark"]) == ("h1", "D")
    assert answer["suspects"][0]["kind"] == "sighting"
    poses = load(show).poses
    assert not poses["h1"].trusted


def test_a_truss_is_carried_from_another_show(tmp_path, show, rig):
    run(show)
    turn, middle = rigs.rz(0.15), np.mean([h.p for h in rig], axis=0)
    now = [rigs.Head(turn @ (h.p - middle) + middle + [0.5, 0.3, 0.2], turn @ h.R) for h in rig]
    seen = [
        s for s in rigs.sight(np.random.default_rng(4), now, rigs.FIVE) if s.mark in ("AC", "BD")[int(s.fixture[1]) % 2]
    ]
    seen = [s for s in seen if s.fixture != "h2"]
    new = folder(tmp_path / "next", now, seen, truss="only")
    answer = json.loads(run(new, "--from", show, "--json").stdout)
    assert answer["fixtures"]["h2"]["carried_over"] == "only"
    assert np.allclose(answer["fixtures"]["h2"]["position"], now[2].p, atol=0.4)
    told = run(new, "--from", tmp_path / "nowhere", "--json")
    assert told.returncode == 2


def test_recorded_focus_corrects_the_table_of_that_fixture(tmp_path, rig):
    seen = rigs.sight(np.random.default_rng(2), rig, rigs.FIVE)
    table = np.array(PROFILE["focus"]["table"])[::-1]

    def focus(s):
        far = np.linalg.norm(rig[0].p - np.array(rigs.FIVE["ABCDE".index(s.mark)], float))
        return int(np.interp(1 / far, 1 / table[:, 0], table[:, 1]) + 1500)

    seen = [type(s)(**{**s.__dict__, "focus": focus(s)}) if s.fixture == "h0" else s for s in seen]
    show = folder(tmp_path / "show", rig, seen)
    assert run(show).returncode == 0
    fixtures = {f.name: f for f in load(show).fixtures}
    assert fixtures["h1"].focus_table is None
    assert [raw for _, raw in fixtures["h0"].focus_table] == pytest.approx([61500, 32500, 13500], abs=700)


class Links(HTMLParser):
    """Everything a page would load, and whether its tags close."""

    def __init__(self):
        super().__init__()
        self.loads, self.open = [], []

    def handle_starttag(self, tag, attrs):
        self.loads += [v for k, v in attrs if k in ("src", "href", "action", "data")]
        if tag not in ("meta", "br", "img", "link", "rect", "circle", "line", "path", "polygon"):
            self.open.append(tag)

    def handle_endtag(self, tag):
        if tag in self.open:
            assert self.open.pop() == tag


def test_the_report_is_one_page_that_needs_nothing_else(show, tmp_path):
    page = tmp_path / "report.html"
    assert run(show, "--dry-run", "--report", page).returncode == 0
    text = page.read_text()
    links = Links()
    links.feed(text)
    assert links.loads == []
    assert links.open == []
    assert "url(http" not in text
    assert "@import" not in text
    assert "Made-up hall &lt;1&gt;" in text
    assert text.count("<svg") == 2 + 1 + 1 + 4  # plan and section, scale, worst of all, one map per fixture


def test_a_report_that_cannot_be_written_is_told(show, tmp_path):
    done = run(show, "--report", tmp_path / "no" / "folder.html", "--json")
    assert done.returncode == 2
    assert "report" in json.loads(done.stdout)["errors"][0]
    assert not (show / "poses.yaml").exists()
