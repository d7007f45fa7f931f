"""Files that pages send up, without a browser: who may, how much, what stays on the disk, processes that misbehave."""

from __future__ import annotations

import asyncio
import json
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import aiohttp
import pytest

from bridge.panel import import_files, import_process, limited
from bridge.panel.import_files import MOST_BYTES, MOST_FILES
from tests.system.import_stand_in import ImportPanel, Wire, import_panel, wire

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
TEST_S = 60.0
MB = 1_000_000


@pytest.fixture
def show(tmp_path: Path) -> Path:
    return Path(shutil.copytree(CONFIGS / "every-key", tmp_path / "show"))


@pytest.fixture
def on_wire(tmp_path: Path, show: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    def run(test: Callable[[ImportPanel, Wire], Any], script: str = "plain", **how: Any) -> None:
        async def whole() -> None:
            async with import_panel(show, tmp_path / "state", monkeypatch, script, **how) as stage, wire(stage) as page:
                await test(stage, page)

        asyncio.run(asyncio.wait_for(whole(), TEST_S))

    return run


async def until(seen: Callable[[], object], within_s: float = 5.0) -> None:
    end_s = time.monotonic() + within_s
    while not seen():
        assert time.monotonic() < end_s, "not in time"
        await asyncio.sleep(0.02)


async def looked(page: Wire, ticket: str, answers: list[dict[str, str]] | None = None) -> dict[str, Any]:
    return await page.ask("import-look", ticket=ticket, answers=answers or [])


def test_a_file_is_looked_at_with_answers_taken_over_logged_and_removed(on_wire: Any) -> None:
    async def test(stage: ImportPanel, page: Wire) -> None:
        body = bytes(range(256)) * 3000
        ticket = await page.send("Front Spot.GDTF", body)
        [file] = stage.files
        assert (file.name, file.read_bytes() == body) == ("Front Spot.gdtf", True)
        assert [(stage.state / "imports").stat().st_mode & 0o777, file.parent.stat().st_mode & 0o777] == [0o700, 0o700]
        answers = [
            {"key": "mode", "about": "x", "value": "--help"},
            {"key": "map", "about": "Ch no", "value": "address"},
        ]
        found = await looked(page, ticket, answers)
        assert found["ok"], found
        assert found["found"]["notes"] == ["--mode=--help --map=Ch no=address"], "an answer is never an option"
        assert found["found"]["changes"][0]["text"] == "Front Spot.gdtf", "where it is kept is not told"
        assert "spot-16bit" in found["profiles_known"]
        taken = await page.ask("import-take", ticket=ticket, answers=answers, digest=found["digest"])
        assert taken["found"]["written"] == ["rig.yaml"]
        assert stage.said == ["import: operator took over Front Spot.gdtf: 1 change, written rig.yaml"]
        assert stage.files == []
        assert not (await looked(page, ticket))["ok"]

    on_wire(test)


@pytest.mark.parametrize(
    ("name", "kept"),
    [
        ("../../etc/rig.mvr", "rig.mvr"),
        ("C:\\shows\\rig.CSV", "rig.csv"),
        ("-rf $(reboot);`x`\x00\n.gdtf", "rf _(reboot)__x___.gdtf"),
        (".gdtf", "file.gdtf"),
        ("Bühne 1 (neu).mvr", "Bühne 1 (neu).mvr"),
        ("x" * 200 + ".csv", "x" * 60 + ".csv"),
        ("\u202egpj.csv", "_gpj.csv"),
    ],
)
def test_a_name_is_a_label_and_no_path(name: str, kept: str) -> None:
    assert import_files.label_of(name) == kept


@pytest.mark.parametrize(
    ("name", "octets", "words"),
    [
        ("photo.pdf", 100, "'photo.pdf', allowed are files that end in .gdtf, .mvr, .csv"),
        ("gdtf", 100, "allowed are files that end in"),
        (None, 100, "allowed are files that end in"),
        ("rig.csv", 0, "empty"),
        ("rig.csv", MOST_BYTES + 1, "at most 200 MB"),
        ("rig.csv", -1, "octets"),
        ("rig.csv", "9", "octets"),
    ],
)
def test_what_is_no_file_of_ours_is_refused_before_it_is_sent(on_wire: Any, name: Any, octets: Any, words: str) -> None:
    async def test(stage: ImportPanel, page: Wire) -> None:
        answer = await page.ask("import-send", name=name, octets=octets)
        assert not answer["ok"]
        assert words in answer["text"]
        assert stage.files == []

    on_wire(test)


def test_no_file_without_ticket_key_or_from_another_site(on_wire: Any) -> None:
    async def test(stage: ImportPanel, page: Wire) -> None:
        path = (await page.expect("rig.csv", 5))[1:]
        url = stage.url + path
        for headers, status in (
            ({"Origin": "http://rebound.example"}, 403),
            ({"Host": f"rebound.example:{stage.site.port}"}, 403),
            ({"X-Forwarded-For": "203.0.113.9"}, 403),  # from elsewhere, without the key
            ({"Content-Encoding": "identity"}, 404),
        ):
            async with stage.http.post(url, data=b"a,b\n1", headers=headers) as answer:
                assert answer.status == status, headers
        async with stage.http.post(stage.url + "import/guessed", data=b"a,b\n1") as answer:
            assert answer.status == 404
        async with stage.http.get(url) as answer:
            assert answer.status in (404, 405)
        assert stage.files == []
        async with stage.http.post(url, data=b"a,b\n1") as answer:
            assert answer.status == 200, "and what was refused has spoiled nothing"
        async with stage.http.post(url, data=b"a,b\n1") as answer:
            assert answer.status == 404, "once"

    on_wire(test)


def test_300_mb_are_refused_before_any_of_it_is_written(on_wire: Any) -> None:
    async def test(stage: ImportPanel, page: Wire) -> None:
        path = await page.expect("rig.mvr", 100 * MB)
        read, written, most = 0, 0, 0

        async def flood(size: int) -> Any:
            nonlocal written, most
            for _ in range(size // MB):
                written += MB
                yield bytes(MB)
                most = max(most, sum(file.stat().st_size for file in stage.files))

        for headers in ({"Content-Length": str(300 * MB)}, {"Content-Length": str(150 * MB)}, {}):
            written = 0
            begun = time.monotonic()
            try:
                async with stage.http.post(stage.url + path[1:], data=flood(300 * MB), headers=headers) as answer:
                    assert answer.status in (413, 400, 404)
            except aiohttp.ClientError:
                pass  # the line was closed while we still sent
            assert time.monotonic() - begun < 5.0
            assert written < 100 * MB, "it is not read to its end"
        assert (read, most) == (0, 0)
        for other in ("/key", "/health", "/importx", "/stream"):
            async with stage.http.post(stage.url + other[1:], data=bytes(100_000)) as answer:
                assert answer.status == 413, f"{other} takes no large body"

    on_wire(test)


@pytest.mark.parametrize("how", ["cut", "silent", "left", "page"])
def test_a_file_that_does_not_come_whole_leaves_nothing(on_wire: Any, monkeypatch: Any, how: str) -> None:
    monkeypatch.setattr(import_files, "SILENT_S", 0.5 if how == "silent" else 20.0)

    async def test(stage: ImportPanel, page: Wire) -> None:
        path = await page.expect("rig.mvr", 5 * MB)
        reader, writer = await asyncio.open_connection("127.0.0.1", stage.site.port)
        head = f"POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{stage.site.port}\r\nContent-Length: {5 * MB}\r\n\r\n"
        writer.write(head.encode() + bytes(2 * MB))
        await until(lambda: stage.files and stage.files[0].stat().st_size == 2 * MB)
        if how == "cut":
            writer.transport.abort()
        elif how == "silent":
            assert b" 408 " in await asyncio.wait_for(reader.readline(), 5.0)
        elif how == "left":
            await page.ask("import-leave")
            writer.write(bytes(MB))
        else:
            await page.ws.close()
        await until(lambda: not stage.files)
        writer.close()

    on_wire(test)


def test_one_file_a_page_and_few_in_all(on_wire: Any, monkeypatch: Any) -> None:
    async def test(stage: ImportPanel, page: Wire) -> None:
        first = await page.send("a.csv", b"1")
        second = await page.send("b.csv", b"2")
        assert [file.name for file in stage.files] == ["b.csv"]
        assert not (await looked(page, first))["ok"]
        others = [await stage.http.ws_connect(stage.url + "stream") for _ in range(MOST_FILES)]
        pages = [Wire(stage, ws) for ws in others]
        for other in pages[1:]:
            await other.send("c.csv", b"3")
        answer = await pages[0].ask("import-send", name="d.csv", octets=1)
        assert "files are being looked at on other pages" in answer["text"]
        assert not (await looked(pages[1], second))["ok"], "another page's file is not theirs"
        await others[1].close()
        await until(lambda: len(stage.files) == MOST_FILES - 1)
        await pages[0].send("d.csv", b"4")
        for ws in others:
            await ws.close()
        await until(lambda: len(stage.files) == 1)
        monkeypatch.setattr(import_files, "FREE_BYTES", 1 << 60)
        assert "nearly full" in (await page.ask("import-send", name="d.csv", octets=1))["text"]

    on_wire(test)


@pytest.mark.parametrize("script", ["hang", "compute", "eat", "flood", "silent", "refuses"])
def test_a_process_that_misbehaves_is_ended_and_said(on_wire: Any, monkeypatch: Any, script: str) -> None:
    monkeypatch.setattr(import_process, "SECONDS", 2.0)

    async def test(stage: ImportPanel, page: Wire) -> None:
        begun = time.monotonic()
        answer = await looked(page, await page.send("rig.mvr", b"PK"))
        assert time.monotonic() - begun < 8.0
        assert not answer["ok"]
        words = {"silent": "gave no answer (exit code 3)", "refuses": "rig.mvr: is broken"}
        assert words.get(script, "This file asks for more") in answer["text"]
        assert (await page.ask("captures"))["ok"], "and the panel goes on"
        assert not running(stage.state)

    on_wire(test, script)


@pytest.mark.parametrize("how", ["leave", "page", "answer"])
def test_a_look_ends_with_its_page(on_wire: Any, how: str) -> None:
    async def test(stage: ImportPanel, page: Wire) -> None:
        ticket = await page.send("rig.mvr", b"PK")
        await page.ws.send_str(
            json.dumps({"do": "ask", "id": 77, "what": "import-look", "ticket": ticket, "answers": []})
        )
        await until(lambda: running(stage.state))
        [first] = running(stage.state)
        if how == "leave":
            await page.ask("import-leave")
        elif how == "page":
            await page.ws.close()
        else:
            ask = {"do": "ask", "id": 78, "what": "import-look", "ticket": ticket, "answers": []}
            await page.ws.send_str(json.dumps(ask))
        await until(lambda: first not in running(stage.state))
        if how != "answer":
            await until(lambda: not stage.files)

    on_wire(test, "hang")


def test_nothing_is_taken_over_that_was_not_looked_at(on_wire: Any, show: Path) -> None:
    async def test(stage: ImportPanel, page: Wire) -> None:
        ticket = await page.send("rig.csv", b"1")
        found = await looked(page, ticket)
        file = show / "rig.yaml"
        file.write_text(file.read_text() + "# by hand\n")
        answer = await page.ask("import-take", ticket=ticket, answers=[], digest=found["digest"])
        assert [answer["ok"], answer["problems"][0]["where"]] == [False, "digest"]
        again = await looked(page, ticket)
        stage.panel.heard.rows.bridge["locked"] = True
        answer = await page.ask("import-take", ticket=ticket, answers=[], digest=again["digest"])
        assert [answer["ok"], answer["problems"][0]["where"]] == [False, "locked"]
        assert "Lock on Rig opens it" in answer["text"]
        assert stage.said == []
        stage.panel.heard.rows.bridge["locked"] = False
        assert (await page.ask("import-take", ticket=ticket, answers=[], digest=again["digest"]))["ok"]

    on_wire(test)


def test_two_pages_at_once_are_served_one_after_the_other(on_wire: Any, show: Path) -> None:
    async def test(stage: ImportPanel, page: Wire) -> None:
        async with wire(stage) as other:
            tickets = [await page.send("a.csv", b"1"), await other.send("b.csv", b"2")]
            found = await asyncio.gather(looked(page, tickets[0]), looked(other, tickets[1]))
            assert [one["found"]["changes"][0]["text"] for one in found] == ["a.csv", "b.csv"]
            taken = await page.ask("import-take", ticket=tickets[0], answers=[], digest=found[0]["digest"])
            assert taken["ok"]
            (show / "rig.yaml").write_text((show / "rig.yaml").read_text() + "# as an import would\n")
            late = await other.ask("import-take", ticket=tickets[1], answers=[], digest=found[1]["digest"])
            assert late["problems"][0]["where"] == "digest", "the second sees what the first has done, first"

    on_wire(test)


@pytest.mark.parametrize(
    "answers",
    [None, {}, [1], [{}], [{"key": "show", "about": "", "value": "x"}], [{"key": "mode", "about": "", "value": "a\nb"}],
     [{"key": "mode", "about": "", "value": "x" * 300}], [{"key": "map", "about": 3, "value": "x"}],
     [{"key": "mode", "about": "", "value": "x"}] * 100],
)  # fmt: skip
def test_strange_answers_are_refused(on_wire: Any, answers: Any) -> None:
    async def test(stage: ImportPanel, page: Wire) -> None:
        ticket = await page.send("rig.csv", b"1")
        answer = await page.ask("import-look", ticket=ticket, answers=answers)
        assert not answer["ok"]
        assert "answers" in answer["text"]

    on_wire(test)


def test_what_another_panel_left_is_removed_at_the_start_and_what_one_holds_is_not(
    on_wire: Any, tmp_path: Path
) -> None:
    old = tmp_path / "state" / "imports" / "panel-old" / "abc"
    old.mkdir(parents=True)
    (old / "rig.mvr").write_bytes(b"x")
    held = import_files.Uploads(tmp_path / "state")
    held.open()
    [mine] = (tmp_path / "state" / "imports").iterdir()

    async def test(stage: ImportPanel, page: Wire) -> None:
        assert mine.is_dir()
        assert not old.exists()

    on_wire(test)
    held.close()
    assert list((tmp_path / "state" / "imports").iterdir()) == []


def running(state: Path) -> list[str]:
    """Processes that run a script of this test."""
    found = []
    for place in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            words = place.read_bytes().split(b"\0")
        except OSError:
            continue
        if any(word.startswith(f"{state}/".encode()) and word.endswith(b".py") for word in words):
            found.append(place.parent.name)
    return found


def test_what_writes_into_the_show_is_not_ended_half_way(on_wire: Any, show: Path) -> None:
    async def test(stage: ImportPanel, page: Wire) -> None:
        ticket = await page.send("rig.csv", b"1")
        digest = (await looked(page, ticket))["digest"]
        (show / "written").unlink()  # this stand-in writes when it looks too
        ask = {"do": "ask", "id": 77, "what": "import-take", "ticket": ticket, "answers": [], "digest": digest}
        await page.ws.send_str(json.dumps(ask))
        await until(lambda: running(stage.state))
        await page.ws.close()
        await until((show / "written").exists)
        await until(lambda: not stage.files)
        assert stage.said == ["import: operator took over rig.csv: 0 changes"]

    on_wire(test, "slow")


def test_limits_hold_for_what_the_process_becomes(tmp_path: Path) -> None:
    script = "import resource, os; print([resource.getrlimit(w)[0] for w in (9, 0, 1)], os.nice(0))"
    words = [sys.executable, "-m", "bridge.panel.limited", "tied", "-c", script]
    told = subprocess.run(words, capture_output=True, text=True, timeout=20, check=True).stdout
    assert told.split("]")[0] == str([limited.MEMORY_BYTES, limited.SECONDS, limited.WRITTEN_BYTES])[:-1]
    assert int(told.split("]")[1]) >= limited.NICE


@pytest.mark.parametrize(("word", "dies"), [("tied", True), ("free", False)])
def test_a_look_dies_with_a_panel_that_is_killed_and_what_writes_does_not(
    tmp_path: Path, word: str, dies: bool
) -> None:
    told = tmp_path / "told"
    child = f"import os, time; open({str(told)!r}, 'w').write(str(os.getpid())); time.sleep(3)"
    parent = (
        "import subprocess, sys; limited = [sys.executable, '-m', 'bridge.panel.limited']\n"
        f"subprocess.run([*limited, {word!r}, '-c', {child!r}])"
    )
    with subprocess.Popen([sys.executable, "-c", parent]) as process:
        end_s = time.monotonic() + 20.0
        while not told.exists() or not told.read_text():
            assert time.monotonic() < end_s
            time.sleep(0.05)
        process.kill()
    alive = Path("/proc", told.read_text(), "cmdline")
    time.sleep(0.3)
    assert (not alive.exists() or not alive.read_bytes()) == dies
