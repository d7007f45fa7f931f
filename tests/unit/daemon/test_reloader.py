"""The show read again: whole and checked, or refused with every reason while the old one runs on."""

from __future__ import annotations

import logging
import shutil
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from bridge.daemon import reloading
from bridge.daemon.reloading import SIGNAL, Reloader, needs_restart, trusted_or_in_use
from bridge.door.door import Door, make
from bridge.door.events import NewShow, Start
from bridge.errors import Refused
from bridge.show import load
from bridge.show.model import Show
from bridge.wire.settings import LostInput, Network, OscSettings, RecordSettings, SacnSettings
from tests.unit.door.stand_ins import CID, octets_of, small_show

CONFIG = Path(__file__).resolve().parents[3] / "configs" / "harbour-hall-tour"
LONG_S = 30.0


class Desk:
    """A door on a copy of a real show; the loop is a list, run by `finish` once something was handed to it."""

    def __init__(self, folder: Path) -> None:
        self.folder = shutil.copytree(CONFIG, folder / "show")
        self.door = Door(make(load(self.folder)), CID)
        self.door.apply(Start(1.0, armed=False))
        self.told: list[tuple[Any, ...]] = []
        self.jobs: list[Callable[[], None]] = []
        self.taken: list[NewShow] = []
        self.handed = threading.Event()
        self.reloader = Reloader(
            self.door, self.later, self.take, lambda *event: self.told.append(event), lambda: 77.25
        )

    def later(self, job: Callable[[], None]) -> None:
        self.jobs.append(job)
        self.handed.set()

    def take(self, event: NewShow) -> None:
        self.taken.append(event)
        self.door.apply(event)

    def finish(self) -> list[tuple[Any, ...]]:
        assert self.handed.wait(LONG_S)
        self.handed.clear()
        self.jobs.pop(0)()
        return self.told

    def edit(self, name: str, old: str, new: str) -> None:
        text = (self.folder / name).read_text()
        assert old in text
        (self.folder / name).write_text(text.replace(old, new, 1))


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    return Desk(tmp_path)


def test_a_changed_show_is_taken_in_the_loop_with_its_files_and_what_was_made_of_it(desk: Desk) -> None:
    desk.edit("network.yaml", "rate: 44", "rate: 40")
    desk.edit("rig.yaml", "name: Harbour Hall, touring rig", "name: Another night")
    before = desk.door.show
    desk.reloader.request("10.0.0.5")
    assert desk.handed.wait(LONG_S)
    assert desk.door.show is before, "taken in the loop only"
    told = desk.finish()
    (event,) = desk.taken
    assert event.at_s == 77.25
    assert event.prepared.show is event.show
    assert set(event.files) == {"network.yaml", "poses.yaml", "rig.yaml", "stage.yaml"}
    assert "Another night" in event.files["rig.yaml"]
    assert desk.door.show.network.sacn.rate == 40
    assert told == [("/feed/reload", "done", "the show is read again: Another night, 12 fixtures")]


def test_a_bad_folder_is_refused_with_every_reason_while_the_old_show_runs_on(
    desk: Desk, caplog: pytest.LogCaptureFixture
) -> None:
    logging.getLogger("tetherlight").propagate = True
    before, plain = desk.door.show, Desk(desk.folder / "aside").door
    desk.edit("network.yaml", "rate: 44", "rate: 4400")
    desk.edit("rig.yaml", "address: 1\n", "address: 700\n")
    desk.edit("stage.yaml", "version: 1", "version: 1\nnonsense: 1")
    desk.reloader.request("10.0.0.5")
    told = desk.finish()
    assert {(address, word) for address, word, _ in told} == {("/feed/reload", "refused")}
    for part in ("network.yaml:", "rig.yaml:", "stage.yaml:", "4400", "700", "nonsense"):
        assert any(part in text for *_, text in told), part
        assert any(part in record.message for record in caplog.records), part
    assert any("the old show runs on" in record.message for record in caplog.records)
    assert desk.taken == []
    assert desk.door.show is before
    for step in range(5):
        assert octets_of(desk.door.tick(2.0 + step)) == octets_of(plain.tick(2.0 + step))


def test_what_only_a_restart_changes_is_refused_with_all_of_it(desk: Desk) -> None:
    desk.edit("network.yaml", "127.0.0.1:9000", "127.0.0.1:9100")
    desk.edit("network.yaml", "to: multicast", 'to: ["10.0.0.7"]')
    desk.reloader.request(SIGNAL)
    told = desk.finish()
    assert [word for _, word, _ in told] == ["refused", "refused"]
    assert "`osc: listen` was 127.0.0.1:9000 and is 127.0.0.1:9100 now: only a restart changes that" in told[0][2]
    assert "`sacn: to`" in told[1][2]
    assert desk.taken == []


def test_a_second_request_while_the_show_is_read_is_refused_and_one_after_it_is_not(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    let, count = threading.Event(), list[int]()

    def slow(folder: Path) -> Show:
        count.append(1)
        assert let.wait(LONG_S)
        return load(folder)

    monkeypatch.setattr(reloading, "load", slow)
    desk.reloader.request("10.0.0.5")
    for _ in range(3):
        with pytest.raises(Refused, match="is being read") as caught:
            desk.reloader.request("10.0.0.6")
        assert caught.value.reason == "busy"
    let.set()
    desk.finish()
    desk.reloader.request("10.0.0.6")
    desk.finish()
    assert (len(count), len(desk.taken)) == (2, 2)


def test_after_a_refusal_and_after_a_fault_it_may_be_asked_for_again(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as broken:
        broken.setattr(reloading, "load", lambda folder: 1 / 0)
        desk.reloader.request("10.0.0.5")
        ((_, word, text),) = desk.finish()
        assert (word, "please report it: ZeroDivisionError" in text) == ("refused", True)
    shutil.move(desk.folder / "rig.yaml", desk.folder / "aside.txt")
    desk.reloader.request("10.0.0.5")
    assert "rig.yaml" in desk.finish()[-1][2]
    shutil.move(desk.folder / "aside.txt", desk.folder / "rig.yaml")
    desk.reloader.request("10.0.0.5")
    assert desk.finish()[-1][1] == "done"


def test_poses_that_are_not_trusted_do_not_take_the_place_of_those_in_use(desk: Desk) -> None:
    used = dict(desk.door.poses)
    text = (desk.folder / "poses.yaml").read_text()
    (desk.folder / "poses.yaml").write_text(text.replace("version: 1", "version: 1\ntrusted: false", 1))
    if "trusted: true" in text:
        (desk.folder / "poses.yaml").write_text(text.replace("trusted: true", "trusted: false"))
    assert not any(pose.trusted for pose in load(desk.folder).poses.values())
    desk.reloader.request("10.0.0.5")
    desk.finish()
    assert desk.door.poses == used
    assert desk.door.show.poses == used


def test_only_a_head_that_has_no_pose_yet_takes_one_that_is_not_trusted() -> None:
    poses = small_show().poses
    doubted = {name: replace(pose, trusted=False, position=(0.0, 0.0, 9.0)) for name, pose in poses.items()}
    in_use = {"foh-1": poses["foh-1"], "gone": poses["foh-2"]}
    show = replace(small_show(), poses={"foh-1": doubted["foh-1"], "foh-2": doubted["foh-2"], "foh-3": poses["foh-3"]})
    assert trusted_or_in_use(show, in_use) == {
        "foh-1": poses["foh-1"],
        "foh-2": doubted["foh-2"],
        "foh-3": poses["foh-3"],
    }


@pytest.mark.parametrize(
    ("after", "key"),
    [
        (Network(osc=OscSettings(port=9001)), "osc: listen"),
        (Network(osc=OscSettings(host="0.0.0.0")), "osc: listen"),
        (Network(sacn=SacnSettings(interface="10.0.0.1")), "sacn: interface"),
        (Network(sacn=SacnSettings(destinations=(("10.0.0.7", 5568),))), "sacn: to"),
        (Network(record=RecordSettings()), "record"),
    ],
)
def test_each_change_that_needs_a_restart_is_named(after: Network, key: str) -> None:
    (text,) = needs_restart(Network(), after)
    assert f"`{key}` was " in text


def test_everything_else_of_the_network_may_change() -> None:
    after = Network(
        osc=OscSettings(allow=("10.0.0.0/8",)),
        sacn=SacnSettings(priority=90, source_name="B", rate=30.0, synchronise=9, contested="send"),
        panel=None,
        lost_input=LostInput(1.0, "dark", 2.0),
    )
    assert needs_restart(Network(), after) == []
