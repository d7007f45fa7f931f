"""The editor's questions: what stage.yaml says as data for forms, what is refused, and what the bridge made of it."""

from __future__ import annotations

import asyncio
import shutil
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from bridge.errors import Refused
from bridge.panel import reload
from bridge.panel.asks import error_data
from bridge.panel.folder import ShowFolder
from bridge.panel.heard import News, Rows
from bridge.panel.reload import Reload
from bridge.panel.stage_asks import StageAsks, StageNo, plain_stage
from bridge.web.plain import as_json

CONFIGS = Path(__file__).resolve().parents[3] / "configs"
Reply = Callable[[int], list[News]]
DONE = {"what": "reload", "word": "done", "text": "the show is read again"}
BUSY = {"what": "refused", "address": "/reload", "reason": "busy", "text": "/reload: the show is being read"}


class Bridge:
    """A panel whose bridge answers as it is told: `reply(n)` are the news after the n-th reload that was asked for."""

    def __init__(self, folder: Path, reply: Reply, locked: bool = False, deaf: bool = False) -> None:
        self.folder = ShowFolder(folder, None)
        loop = asyncio.get_running_loop()
        self.heard = SimpleNamespace(rows=Rows(bridge={"locked": locked}), last_s=None if deaf else loop.time())
        self.reply, self.sent, self.reload = reply, [], Reload(self)
        self.asks = StageAsks(self, self.reload)

    def send(self, page: Any, address: str, args: Any) -> None:
        self.sent.append((page, address))
        for news in self.reply(len(self.sent)):
            self.reload.heard_news(news)


@pytest.fixture
def show(tmp_path: Path) -> Path:
    return Path(shutil.copytree(CONFIGS / "every-key", tmp_path / "show"))


def asked(show: Path, changes: list[Any], reply: Reply = lambda n: [DONE], digest: str = "", **how: Any) -> Any:
    """(answer, the bridge) of one saving by a page that has just read the file."""

    async def run() -> tuple[dict[str, Any], Bridge]:
        bridge = Bridge(show, reply, **how)
        read = await bridge.asks.stage("Ann", {})
        return await bridge.asks.save("Ann", {"changes": changes, "digest": digest or read["digest"]}), bridge

    return asyncio.run(run())


SEAT = {"do": "set", "path": ["seat"], "value": [5, "-14 m", 2.5]}


def test_the_file_as_data_for_forms_has_values_as_written(show: Path) -> None:
    async def run() -> dict[str, Any]:
        return await Bridge(show, lambda n: []).asks.stage("Ann", {})

    stage = asyncio.run(run())["stage"]
    assert stage["marks"][0] == {"name": "A", "at": None, "sigma": None, "height": 0}
    assert stage["marks"][3] == {"name": "D", "at": [0.2, 6.1, 0], "sigma": 0.02, "height": None}
    assert stage["tapes"][1] == {"number": 2, "between": ["A", "foh-1"], "metres": "14.93 m", "sigma": None}
    assert stage["floors"][0]["height"] == "60 cm"
    assert (stage["more_areas"][0]["on"], stage["no_light"][0]["on"]) == (False, True)
    assert stage["performance_polygon"]["margin"] == 0.15
    assert stage["datum"] == {"origin": "A", "along_x": "B"}
    assert stage["seat"] == [5, -14, "210 cm"]


@pytest.mark.parametrize(
    ("data", "odd"),
    [
        ([], ["performance_polygon"]),
        ({"performance_polygon": {"corners": [[1, 2], 3]}}, ["performance_polygon"]),
        ({"marks": [1], "tapes": {"A": 1}, "floors": "none"}, ["performance_polygon", "marks", "tapes", "floors"]),
        ({"marks": {"A": [1, 2], "B": 3, "C": [1, 2, 3]}}, ["performance_polygon", "marks.A", "marks.B"]),
        ({"tapes": [{"between": "A"}, {"between": ["A", "B"]}]}, ["performance_polygon", "tapes.1"]),
        ({"seat": [1], "datum": "A", "floors": [{"corners": []}]},
         ["performance_polygon", "floors.1", "datum", "seat"]),
    ],
)  # fmt: skip
def test_what_no_form_can_hold_is_named_and_left_out(data: Any, odd: list[str]) -> None:
    assert plain_stage(data)[1] == odd


def test_an_infinite_number_is_text_for_the_page() -> None:
    stage, _ = plain_stage({"marks": {"A": [float("inf"), 1, float("nan")]}})
    assert stage["marks"][0]["at"] == ["inf", 1, "nan"]
    assert '"inf"' in as_json(stage)


def test_saved_and_taken(show: Path) -> None:
    before = (show / "stage.yaml").read_text()
    answer, bridge = asked(show, [SEAT])
    assert (answer["taken"], answer["lines"]) == (True, ["the show is read again"])
    assert answer["stage"]["seat"] == [5, "-14 m", 2.5]
    assert bridge.sent == [("Ann", "/reload")], "in the operator's name"
    assert (show / "stage.yaml").read_text() == before.replace("[5, -14, 210 cm]", "[5, -14 m, 2.5]")


def test_saved_but_not_taken_and_why(show: Path) -> None:
    lines = ["network.yaml: `record` was changed", "rig.yaml:3: found nothing"]
    answer, _ = asked(show, [SEAT], lambda n: [{"what": "reload", "word": "refused", "text": line} for line in lines])
    assert (answer["taken"], answer["lines"]) == (False, lines)


def test_a_bridge_that_reads_the_show_already_is_asked_again(show: Path) -> None:
    answer, bridge = asked(show, [SEAT], lambda n: [BUSY] if n < 3 else [DONE])
    assert (answer["taken"], len(bridge.sent)) == (True, 3)


def test_another_refusal_of_the_bridge_is_told(show: Path) -> None:
    answer, _ = asked(show, [SEAT], lambda n: [{**BUSY, "reason": "locked", "text": "/reload: locked"}])
    assert (answer["taken"], answer["lines"]) == (False, ["/reload: locked"])


def test_a_bridge_that_is_not_heard_or_says_nothing(show: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    answer, bridge = asked(show, [SEAT], deaf=True)
    assert (answer["taken"], bridge.sent) == (False, [])
    assert "not heard" in answer["lines"][0]
    monkeypatch.setattr(reload, "WITHIN_S", 0.05)
    answer, _ = asked(show, [SEAT], lambda n: [{"what": "reload", "word": "done", "text": ""}][:0])
    assert not answer["taken"]
    assert "has not answered" in answer["lines"][0]


def test_problems_have_the_path_of_their_field(show: Path) -> None:
    before = (show / "stage.yaml").read_bytes()
    wrong = [
        {"do": "set", "path": ["marks", "D", "at"], "value": [1, "wide", 0]},
        {"do": "set", "path": ["tapes", "2", "metres"], "value": "-3 m"},
    ]
    with pytest.raises(StageNo) as caught:
        asked(show, wrong)
    problems = error_data(caught.value)["problems"]
    assert [problem["where"] for problem in problems] == ["marks.D.at.2", "tapes.A/foh-1.metres"]
    assert problems[0]["what"].startswith("found 'wide', allowed is metres")
    assert str(caught.value) == "Nothing is saved: 2 problems to put right."
    assert (show / "stage.yaml").read_bytes() == before


def test_a_problem_of_another_file_says_which(show: Path) -> None:
    (show / "rig.yaml").write_text((show / "rig.yaml").read_text() + "strange: 1\n")

    async def run() -> None:
        bridge = Bridge(CONFIGS / "every-key", lambda n: [])
        bridge.folder.path = show
        read = await bridge.asks.stage("Ann", {})
        await bridge.asks.save("Ann", {"changes": [SEAT], "digest": read["digest"]})

    with pytest.raises(StageNo) as caught:
        asyncio.run(run())
    assert caught.value.problems[0]["where"] == ""
    assert caught.value.problems[0]["what"].startswith("rig.yaml, line ")


def test_another_page_was_faster(show: Path) -> None:
    before = (show / "stage.yaml").read_bytes()
    with pytest.raises(StageNo, match="changed by somebody else") as caught:
        asked(show, [SEAT], digest="0" * 16)
    assert [problem["where"] for problem in caught.value.problems] == ["digest"]
    assert (show / "stage.yaml").read_bytes() == before


def test_locked_nothing_is_saved(show: Path) -> None:
    before = (show / "stage.yaml").read_bytes()
    with pytest.raises(Refused, match="locked for the show"):
        asked(show, [SEAT], locked=True)
    assert (show / "stage.yaml").read_bytes() == before


@pytest.mark.parametrize("data", [{}, {"changes": {}, "digest": "a"}, {"changes": [], "digest": 3}])
def test_what_is_no_saving_is_refused(show: Path, data: dict[str, Any]) -> None:
    async def run() -> None:
        await Bridge(show, lambda n: []).asks.save("Ann", data)

    with pytest.raises(Refused, match="stage-save: expected"):
        asyncio.run(run())


def test_a_file_that_is_no_yaml_is_said_with_its_line(show: Path) -> None:
    async def run() -> None:
        bridge = Bridge(show, lambda n: [])
        (show / "stage.yaml").write_text("version: 1\nmarks: {A: [1, 2\n")
        await bridge.asks.stage("Ann", {})

    with pytest.raises(StageNo) as caught:
        asyncio.run(run())
    assert caught.value.problems
