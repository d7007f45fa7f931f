"""`tetherlight new`: options, questions on a terminal, refusals; a stranger's way from nothing to `check`."""

from __future__ import annotations

import json
import math
import os
import pty
import select
import signal
import sys
import time
from pathlib import Path

import pytest

from bridge.cli import main
from bridge.show import load
from bridge.show.folder import built_in_profiles
from tests.unit.exchange.made_gdtf import PAN_TILT, Channel, Function, Mode, build_gdtf

ROOT = Path(__file__).parents[3]


class Terminal:
    """The command on a pseudo-terminal, as a person has it: waits for each question, then types."""

    def __init__(self, folder: Path, *words: str) -> None:
        self.text = ""
        self._pid, self._fd = pty.fork()
        if self._pid == 0:
            os.chdir(folder)
            signal.signal(signal.SIGINT, signal.SIG_DFL)  # a shell's background job has it ignored
            environment = {**os.environ, "PYTHONPATH": str(ROOT)}
            os.execve(sys.executable, [sys.executable, "-m", "bridge", "new", *words], environment)

    def say(self, *words: str) -> Terminal:
        for word in words:
            self._read(until="]: ")
            os.write(self._fd, word.encode())
        return self

    def ended(self) -> int:
        self._read(until=None)
        os.close(self._fd)
        return os.waitstatus_to_exitcode(os.waitpid(self._pid, 0)[1])

    def _read(self, until: str | None) -> None:
        end = time.monotonic() + 60
        while time.monotonic() < end:
            if select.select([self._fd], [], [], 1.0)[0]:
                try:
                    piece = os.read(self._fd, 4096)
                except OSError:  # Linux: the other side is gone
                    return
                if not piece:
                    return
                self.text += piece.decode()
                if until and self.text.endswith(until):
                    return
        os.kill(self._pid, signal.SIGKILL)
        pytest.fail(f"nothing came in a minute after: {self.text!r}")


def test_enter_takes_what_stands_in_brackets(tmp_path: Path) -> None:
    terminal = Terminal(tmp_path, "hall").say(*["\n"] * 7)
    assert terminal.ended() == 0
    show = load(tmp_path / "hall")
    assert (show.name, len(show.fixtures)) == ("hall", 12)
    assert "[hall]: " in terminal.text
    assert "[12 m]: " in terminal.text
    assert "12 heads on 1 universe" in terminal.text


def test_nonsense_is_asked_again_with_what_is_allowed_and_given_options_are_not_asked(tmp_path: Path) -> None:
    terminal = Terminal(tmp_path, "hall", "--name", "Harbour Hall", "--depth", "10' 6\"")
    terminal.say("wide\n", "40 ft\n", "-1\n", "1\n", "5\n", "\n", "spot\n", "wash-8bit\n")
    assert terminal.ended() == 0
    assert "called" not in terminal.text
    assert "Depth" not in terminal.text
    assert "found 'wide', allowed is metres, or text with a unit" in terminal.text
    assert "found -1, allowed is a whole number from 0 to 12" in terminal.text
    assert "found 'spot' (nearest is" in terminal.text
    show = load(tmp_path / "hall")
    assert {f.profile.name for f in show.fixtures} == {"generic wash, 8 bit"}
    assert len(show.fixtures) == 5
    right, far = show.stage.polygon.area.corners[2]
    assert (right, far) == pytest.approx((20 * 0.3048, 10.5 * 0.3048), abs=1e-3)


def test_no_trusses_ask_nothing_of_a_rig(tmp_path: Path) -> None:
    terminal = Terminal(tmp_path, "hall").say("\n", "\n", "\n", "0\n")
    assert terminal.ended() == 0
    assert "Profile" not in terminal.text
    assert sorted(os.listdir(tmp_path / "hall")) == ["network.yaml", "stage.yaml"]
    assert "no rig.yaml yet" in terminal.text
    assert "`tetherlight import hall plot.mvr`" in terminal.text


@pytest.mark.parametrize("key", ["\x03", "\x04"])
def test_ending_the_questions_leaves_nothing(tmp_path: Path, key: str) -> None:
    terminal = Terminal(tmp_path, "hall").say("\n", "\n", key)
    assert terminal.ended() == 2
    assert os.listdir(tmp_path) == []
    assert "nothing was written" in terminal.text
    assert "Traceback" not in terminal.text


def new(*words: str) -> int:
    return main(["new", *words])


def test_without_a_terminal_nothing_is_asked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "a" / "hall"
    assert new(str(folder), "--trusses", "4", "--heads", "12", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert said["written"] == ["network.yaml", "rig.yaml", "stage.yaml"]
    assert (said["fixtures"], said["universes"]) == (48, [1, 2])
    assert len(load(folder).fixtures) == 48


def test_a_strangers_way_to_check(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = str(tmp_path / "hall")
    assert new(folder) == 0
    assert main(["check", folder]) == 0
    assert "0 errors, 2 warnings" in capsys.readouterr().out
    assert main(["check", folder, "--strict"]) == 1


HEAD = (0.0, -8.0, 8.0)  # where `new` hangs the only head of one truss


@pytest.mark.parametrize(("sign", "trusted"), [(1, True), (-1, False)])
def test_a_new_show_is_solved_from_two_marks_unless_pan_turns_the_other_way(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], sign: int, trusted: bool
) -> None:
    """Pan and tilt of a level head by hand, conventions.md: pan 0 looks upstage, positive to the audience's left."""
    folder = tmp_path / "hall"
    assert new(str(folder), "--trusses", "1", "--heads", "1") == 0
    rows = ["version: 1", "sightings:"]
    for mark in ("A", "B"):
        at = load(folder).stage.marks[mark].at
        assert at is not None
        dx, dy, dz = (there - here for there, here in zip(at, HEAD, strict=True))
        pan, tilt = math.degrees(math.atan2(-dx, dy)), math.degrees(math.atan2(math.hypot(dx, dy), -dz))
        rows.append(f"  - {{fixture: foh-1, mark: {mark}, pan: {sign * pan:.4f}, tilt: {tilt:.4f}}}")
    (folder / "sightings.yaml").write_text("\n".join(rows))
    capsys.readouterr()
    assert main(["solve", str(folder), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["trusted"] is trusted
    pose = load(folder).poses["foh-1"]
    assert (pose.position == pytest.approx(HEAD, abs=0.01)) is trusted


def test_an_empty_folder_is_filled_in_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert new(".", "--name", "Here") == 0
    assert sorted(os.listdir(".")) == ["network.yaml", "rig.yaml", "stage.yaml"]
    assert load(".").name == "Here"


def test_a_profile_file_is_copied(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    own = tmp_path / "My Spot (16).yaml"
    own.write_bytes(built_in_profiles()["spot-16bit"].read_bytes())
    assert new(str(tmp_path / "hall"), "--profile", str(own)) == 0
    assert (tmp_path / "hall/profiles/My-Spot-16.yaml").read_bytes() == own.read_bytes()
    assert {f.profile.name for f in load(tmp_path / "hall").fixtures} == {"generic spot, 16 bit"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--width", "wide"], "--width: found 'wide', allowed is metres, or text with a unit"),
        (["--width", "1"], "--width: found 1, allowed is a length from 2 to 200 m"),
        (["--depth", "9000 mm 3"], "--depth: found '9000 mm 3'"),
        (["--width", "nan"], "--width: found 'nan'"),
        (["--width", "9" * 500], "--width: found "),
        (["--trusses", "1.5"], "--trusses: found 1.5, allowed is a whole number from 0 to 12"),
        (["--heads", "97"], "--heads: found 97, allowed is a whole number from 0 to 96"),
        (["--name", ""], "--name: found nothing, allowed is text of one line"),
        (["--name", "a\tb"], "--name: found 'a\\tb', allowed is text of one line"),
        (["--profile", "wash8bit"], "--profile: found 'wash8bit' (nearest is 'wash-8bit')"),
        (["--profile", "none.yaml"], "--profile: none.yaml: found no such file"),
        (["--profile", "none.gdtf"], "--profile: none.gdtf: cannot be read"),
        (["--profile", "plot.mvr"], "--profile: found 'plot.mvr', a whole rig"),
        (["--profile", "/dev/null/x.yaml"], "--profile: /dev/null/x.yaml: "),
    ],
)
def test_what_an_option_may_not_be(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    assert new(str(tmp_path / "hall"), *words) == 2
    assert said in capsys.readouterr().err
    assert os.listdir(tmp_path) == []


def test_a_broken_profile_is_told_by_its_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    own = tmp_path / "own.yaml"
    own.write_text("version: 1\nname: x\nfootprint: 900\n")
    assert new(str(tmp_path / "hall"), "--profile", str(own), "--json") == 2
    (line,) = json.loads(capsys.readouterr().out)["errors"]
    assert line.startswith("--profile: own.yaml:3: footprint: found 900")
    assert not (tmp_path / "hall").exists()


def test_a_show_is_never_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert new(str(tmp_path / "hall")) == 0
    before = {p.name: p.read_bytes() for p in (tmp_path / "hall").iterdir()}
    assert new(str(tmp_path / "hall"), "--trusses", "0") == 2
    assert "found rig.yaml, stage.yaml, network.yaml: a show is there already" in capsys.readouterr().err
    assert {p.name: p.read_bytes() for p in (tmp_path / "hall").iterdir()} == before
    (tmp_path / "file").write_text("")
    assert new(str(tmp_path / "file")) == 2
    assert "found a file, allowed is a new folder" in capsys.readouterr().err


def gdtf(tmp_path: Path, *modes: str) -> Path:
    """A file of an invented maker with these modes, of pan, tilt and dimmer."""
    path = tmp_path / "spot.gdtf"
    channels = [*PAN_TILT, Channel("5", [Function("Dimmer")])]
    path.write_bytes(build_gdtf([Mode(name, channels) for name in modes]))
    return path


def test_a_gdtf_is_imported_on_the_way(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "hall"
    assert new(str(folder), "--profile", str(gdtf(tmp_path, "Standard"))) == 0
    out = capsys.readouterr().out
    assert "Questions:\n  Which way pan and tilt turn" in out
    assert "Heads move without warning." in out
    assert len({(f.universe, f.address) for f in load(folder).fixtures}) == 12
    assert {f.profile.footprint for f in load(folder).fixtures} == {5}
    assert main(["check", str(folder)]) == 0
    assert "· note  profiles/" in capsys.readouterr().out


def test_of_several_modes_one_must_be_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path, folder = gdtf(tmp_path, "Standard", "Extended"), tmp_path / "hall"
    assert new(str(folder), "--profile", str(path)) == 2
    assert f"say it so: {path}:Standard, {path}:Extended" in capsys.readouterr().err
    assert new(str(folder), "--profile", f"{path}:Nothing") == 2
    assert not folder.exists()
    assert new(str(folder), "--profile", f"{path}:Extended", "--json") == 0
    said = json.loads(capsys.readouterr().out)
    assert "imported.yaml" in said["written"]
    assert any("pan and tilt" in text for text in said["questions"])


def test_a_broken_gdtf_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "spot.gdtf").write_bytes(b"PK\x03\x04 nothing")
    assert new(str(tmp_path / "hall"), "--profile", str(tmp_path / "spot.gdtf")) == 2
    assert "spot.gdtf: it is no ZIP archive" in capsys.readouterr().err
    assert not (tmp_path / "hall").exists()
