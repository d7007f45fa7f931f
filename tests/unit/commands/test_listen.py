"""`listen`: points of every protocol by real sockets, and what it says where there is nothing to hear."""

from __future__ import annotations

import json
import socket
from pathlib import Path
from typing import Any

import pytest

from bridge.cli import main
from tests.made_inputs import GROUP, SYSTEM, Sender, a_free_port, show_with_inputs


def heard(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> Any:
    assert main(["listen", *words, "--json"]) == code
    return json.loads(capsys.readouterr().out)


def test_a_point_on_the_stage_with_its_rate_and_who_sends_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    show = show_with_inputs(tmp_path / "show")
    with Sender():
        data = heard(capsys, "tags", str(show), "--seconds", "2.5")
    (point,) = data["points"]
    assert (data["input"], data["protocol"], data["framed"], data["missing"]) == ("tags", "otp", True, [])
    assert (point["point"], point["host"], point["targets"]) == ("1/7", "127.0.0.1", ["lead"])
    assert point["place"] == pytest.approx([3.0, 1.0, 1.5], abs=1e-3)
    assert point["stage"] == pytest.approx([0.0, 5.0, 1.5], abs=1e-3)  # a quarter turn, then the origin
    assert 30.0 < point["rate_hz"] < 51.0
    assert 0.0 <= point["jitter_ms"] < 20.0
    assert 0.0 <= point["age_ms"] < 300.0
    assert data["counters"]["taken"] >= 60
    assert data["seconds"] == pytest.approx(2.5, abs=0.5)


def test_names_of_trackers_and_inputs_without_a_frame(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    show, port = tmp_path / "show", a_free_port()
    show_with_inputs(show, port)
    with Sender(port):
        assert main(["listen", "stage", str(show), "--seconds", "1.5"]) == 0
        lines = capsys.readouterr().out.splitlines()
        sound = heard(capsys, "sound", str(show), "--seconds", "1")
    told = [line for line in lines if '3 "Anna": 2.000 4.000 1.000, stage no frame' in line]
    assert len(told) == 2  # after a second and at the end
    assert told[-1].endswith("from 127.0.0.1, target none")
    assert any("no frame in frames.yaml" in line for line in lines)
    assert (sound["points"][0]["point"], sound["points"][0]["place"]) == ("9", [0.5, -0.5, 0.0])


def test_silence_says_what_to_look_at_and_which_other_system_is_heard(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    show = show_with_inputs(tmp_path / "show")
    network = show / "network.yaml"
    other = SYSTEM % 200 + 1
    network.write_text(network.read_text().replace(f"system: {SYSTEM}}}", f"system: {other}}}"))
    with Sender():
        data = heard(capsys, "tags", str(show), "--seconds", "2.2")
    assert data["points"] == []
    assert data["missing"] == ["1/7 (lead)"]
    assert data["advice"][0] == f"heard instead: system {SYSTEM} from 127.0.0.1"
    assert data["advice"][1].startswith(f"does the producer send system {other}, and on the network of 127.0.0.1?")
    assert "firewall UDP 5568" in data["advice"][2]
    assert main(["listen", "stage", str(show), "--seconds", "0.3"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert f"nothing of input stage heard in 0 s at {GROUP[0]}:56565 on 127.0.0.1" in lines[0]
    assert f"does the server send to {GROUP[0]}:56565" in lines[1]


def test_strangers_and_packets_that_are_no_such_are_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    show, port = tmp_path / "show", a_free_port()
    show_with_inputs(show, port)
    network = show / "network.yaml"
    network.write_text(network.read_text().replace('"127.0.0.0/8"', '"10.0.0.0/8"'))
    with Sender(port):
        data = heard(capsys, "sound", str(show), "--seconds", "1")
    assert data["advice"] == ["packets come, from 127.0.0.1, which is not in `osc: allow` of network.yaml"]


def test_an_input_that_is_not_there_is_named_with_the_nearest(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    show = show_with_inputs(tmp_path / "show")
    (error,) = heard(capsys, "tag", str(show), code=2)["errors"]
    assert error == "found 'tag', which is no input of this show, nearest is 'tags'; allowed: tags, stage, sound"
    assert main(["listen", "tags", str(show / "nowhere")]) == 2


def test_a_port_that_the_bridge_holds_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as bridge:
        bridge.bind(("127.0.0.1", 0))
        show = show_with_inputs(tmp_path / "show", bridge.getsockname()[1])
        (error,) = heard(capsys, "sound", str(show), code=3)["errors"]
    assert error.startswith("input sound: cannot listen on 127.0.0.1:")
    assert "another program holds this port; is `tetherlight run` running?" in error


@pytest.mark.parametrize("words", [["--seconds", "0"], ["--seconds", "x"], ["--seconds", "nan"]])
def test_times_that_are_none(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["listen", "tags", "show", *words]) == 2
    assert "a number above 0" in capsys.readouterr().err
