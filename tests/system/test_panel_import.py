"""Files of other programs by hand in a real browser, into the show of a daemon that runs."""

from __future__ import annotations

import asyncio
import io
import time
import zipfile
from pathlib import Path
from typing import Any

import pytest

from bridge.exchange.standing import built_in
from bridge.show.load import load
from tests.system.axe import violations
from tests.system.chromium import CHROMIUM, Page
from tests.system.import_stand_in import import_panel, wire
from tests.system.panel_shows import demo_show
from tests.system.panel_stage import PanelStage, on_stage
from tests.unit.exchange import made_mvr
from tests.unit.exchange.made_gdtf import PAN_TILT, Channel, Function, Mode, build_gdtf

STATE = "(document.querySelector('.i-state')?.textContent ?? '')"
SHEET = "document.querySelector('#import')"
IN_BROWSER = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
DIMMER = Channel("5", [Function("Dimmer")])
BEACON = build_gdtf([
    Mode("8 bit", [*PAN_TILT, DIMMER]),
    Mode("with spare", [*PAN_TILT, DIMMER, Channel("6", [Function("Shutter1")])]),
])  # fmt: skip


def plot(first_universe: int) -> str:
    """A list as an office writes it: foh-1 with a number, and two heads that the demo has not."""
    return (
        "Name;Type;Universe;Address;X m;Y m;Z m;Yaw;Channel\n"
        f"foh-1;spot-colour;{first_universe};1;-6;-12;9;0;101\n"
        f"side-1;spot-16bit;{first_universe + 2};1;7,5;2;6,0;90;201\n"
        f"side-2;Unheard Beacon;{first_universe + 2};41;7,5;4;6,0;90;202\n"
    )


async def rig(stage: PanelStage) -> Page:
    await stage.page.click_named("tab", "Rig")
    return stage.page


async def looked(page: Page) -> str:
    """The sheet's words once the file was looked at."""
    try:
        await page.until(f"{STATE}.includes('Nothing is changed yet')", 30.0)
    except AssertionError:
        raise AssertionError(await page.evaluate(f"{SHEET}?.innerText")) from None
    return str(await page.evaluate(f"{SHEET}.innerText"))


@IN_BROWSER
def test_a_list_is_dropped_answered_taken_over_and_the_bridge_has_its_heads(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        folder, page = stage.staged.folder, await rig(stage)
        before = {file: file.read_bytes() for file in folder.rglob("*.yaml")}
        office = tmp_path / "plot of May.csv"
        office.write_text(plot(30500))
        await page.drop_file((500, 300), str(office))
        words = await looked(page)
        assert "side-1" in words
        assert "foh-1.number" in words
        assert "Unheard Beacon" in words
        assert "side-2" in words.partition("Left out")[2]
        assert {file: file.read_bytes() for file in folder.rglob("*.yaml")} == before
        box = await page.named("combobox", "Profile of type “Unheard Beacon”")
        await box.apply("function () { this.value = 'wash-8bit'; this.dispatchEvent(new Event('change')); }")
        await page.until(f"{SHEET}.innerText.includes('new head side-2')", 30.0)
        await page.click_named("button", "Take it over")
        await page.until(f"{STATE}.includes('Taken over: ')", 30.0)
        assert [head.name for head in load(folder).fixtures[-2:]] == ["side-1", "side-2"]
        assert "# The made-up venue" in (folder / "rig.yaml").read_text(), "comments stay"
        assert "import: operator took over plot of May.csv" in stage.panel.log
        assert "the show is read again" not in stage.daemon.log, "nothing before Reload"
        await page.click_named("button", "Reload")
        await page.until(f"{STATE}.includes('and the bridge goes by it')", 30.0)
        await page.until("panel.store.scene.heads.some((head) => head.name === 'side-2')", 10.0)
        number = "panel.store.scene.heads.findIndex((head) => head.name === 'side-2')"
        await page.until(f"panel.store.frame?.heads[{number}].state === 'unsolved'", 10.0)
        assert "the show is read again" in stage.daemon.log
        await page.key("Escape")
        await page.until(f"!{SHEET}")
        await page.drop_file((500, 300), str(office))
        await page.until(f"{STATE}.includes('No changes')", 30.0)
        assert page.errors == []

    on_stage(tmp_path, test, universe=30500)


@IN_BROWSER
def test_a_fixture_type_asks_for_its_mode_and_becomes_a_profile(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        folder, page = stage.staged.folder, await rig(stage)
        file = tmp_path / "beacon.gdtf"
        file.write_bytes(BEACON)
        await page.give_file("input[type=file]", str(file))
        await looked(page)
        assert await page.evaluate("document.querySelector('.i-why').textContent") == "Answer the question first."
        await page.click_named("button", "with spare 6 slots")
        await page.until(f"{SHEET}.innerText.includes('new profile profiles/')", 30.0)
        assert await violations(page, within="#import") == []
        await page.evaluate("document.querySelectorAll('#import details').forEach((d) => { d.open = true; })")
        words = await page.evaluate(f"{SHEET}.innerText")
        assert "Why fixed.6" in words, "what is held, with why"
        await page.click_named("button", "Take it over")
        await page.until(f"{STATE}.includes('Taken over: profiles/')", 30.0)
        assert len(list((folder / "profiles").glob("*.yaml"))) == 1
        await page.click_named("button", "Reload")
        await page.until(f"{STATE}.includes('and the bridge goes by it')", 30.0)

    on_stage(tmp_path, test, universe=30504)


@IN_BROWSER
def test_locked_for_the_show_it_can_be_looked_at_and_no_more(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = await rig(stage)
        await page.click_named("switch", "Lock")
        await page.until("panel.store.frame.bridge.locked")
        office = tmp_path / "plot.csv"
        office.write_text(plot(30508))
        await page.give_file("input[type=file]", str(office))
        await looked(page)
        await page.until("document.querySelector('.i-why').textContent.startsWith('Locked for the show')")
        assert (await (await page.named("button", "Take it over")).states()).get("disabled")
        answer = await page.evaluate(
            "panel.link.ask('import-take', {ticket: 'x', answers: [], digest: ''}).catch((error) => error.message)"
        )
        assert "no longer here" in answer

    on_stage(tmp_path, test, universe=30508)


def bomb(member: str) -> bytes:
    """An archive of 200 kB that inflates to 200 MB."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(member, bytes(200_000_000))
    return packed.getvalue()


@pytest.mark.parametrize(
    ("name", "body"),
    [
        ("bomb.gdtf", lambda: bomb("description.xml")),
        ("bomb.mvr", lambda: bomb("GeneralSceneDescription.xml")),
        ("up.mvr", lambda: bomb("../../../rig.yaml")[:4000]),
        ("text.mvr", lambda: b"hello"),
        ("noise.gdtf", lambda: bytes(range(256)) * 400),
        ("noise.csv", lambda: bytes(range(256)) * 400),
        ("long.csv", lambda: b"a" * 20_000_000),
    ],
)
def test_hostile_files_get_a_sentence_from_the_program_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, body: Any
) -> None:
    async def test() -> None:
        show = demo_show(tmp_path / "show", 1).folder
        before = {file: file.read_bytes() for file in show.rglob("*") if file.is_file()}
        async with import_panel(show, tmp_path / "state", monkeypatch) as stage, wire(stage) as page:
            begun = time.monotonic()
            answer = await page.ask("import-look", ticket=await page.send(name, body()), answers=[])
            assert time.monotonic() - begun < 30.0
            said = answer.get("text") or " ".join(answer["found"]["questions"])
            assert said, answer
            assert "Traceback" not in str(answer)
            assert str(tmp_path) not in str(answer), "where it is kept is not told"
            await page.ask("import-leave")
            assert stage.files == []
        assert {file: file.read_bytes() for file in show.rglob("*") if file.is_file()} == before

    asyncio.run(asyncio.wait_for(test(), 60.0))


@IN_BROWSER
def test_a_drawing_is_dropped_and_each_type_that_nobody_knows_is_asked_by_itself(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        folder, page = stage.staged.folder, await rig(stage)
        first = 512 * (30520 + 2 - 1)  # absolute: the demo's two universes are left alone
        heads = "".join(made_mvr.fixture(n, address=str(first + 20 * n)) for n in (1, 2, 3))
        for n, kind in ((8, "Unheard Beacon"), (9, "Old Thing")):
            heads += made_mvr.fixture(n, f"odd {n}", spec=kind, address=str(first + 20 * n))
        file = tmp_path / "plot.mvr"
        file.write_bytes(made_mvr.mvr(made_mvr.layer(made_mvr.group(heads, "LX 1", tag="Truss"))))
        await page.drop_file((500, 300), str(file))
        assert "2 questions open" in await looked(page)
        for kind, profile in (("Unheard Beacon", "wash-8bit"), ("Old Thing", "spot-16bit")):
            box = await page.named("combobox", f"Profile of type “{kind}”")
            change = f"function () {{ this.value = '{profile}'; this.dispatchEvent(new Event('change')); }}"
            await box.apply(change)
        await page.until(f"{SHEET}.innerText.includes('new head odd-9')", 30.0)
        await page.click_named("button", "Take it over")
        await page.until(f"{STATE}.includes('Taken over: ')", 30.0)
        taken = {head.name: head for head in load(folder).fixtures[-5:]}
        assert [head.profile.footprint for head in taken.values()][-2:] == [
            built_in("wash-8bit")["footprint"],
            built_in("spot-16bit")["footprint"],
        ]
        assert {(head.universe, head.truss) for head in taken.values()} == {(30522, "LX-1")}
        assert page.errors == []

    on_stage(tmp_path, test, universe=30520)
