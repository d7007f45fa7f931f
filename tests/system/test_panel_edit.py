"""The stage editor by hand in a real browser: what is dragged and typed is in stage.yaml, the bridge goes by it."""

from __future__ import annotations

import asyncio
import json
import re
from pathlib import Path

import pytest

from bridge.show.load import load
from bridge.show.units import metres_from_text
from tests.system import panel_shows
from tests.system.axe import violations
from tests.system.chromium import CHROMIUM
from tests.system.edit_hands import EDGES, NOTE, STAGE, Editor, edited_show
from tests.system.page_looks import looks
from tests.system.panel_stage import PanelStage, on_stage
from tests.system.running import until

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
TAKEN = "Saved, and the bridge goes by it."
SIZES = [(390, 844), (820, 1180), (1280, 800), (1920, 1080)]


@pytest.fixture(autouse=True)
def _show(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(panel_shows.SHOWS, "edited", edited_show)


def lines_differ(file: Path, before: str = STAGE) -> list[tuple[str, str]]:
    """(old, new) of the lines that differ; as many lines as there were."""
    old, new = before.splitlines(keepends=True), file.read_bytes().decode().splitlines(keepends=True)
    assert len(old) == len(new)
    return [(one, other) for one, other in zip(old, new, strict=True) if one != other]


def test_a_mark_is_dragged_and_saved_and_nothing_else_is_touched(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        file = stage.staged.folder / "stage.yaml"
        editor = await Editor.open(stage.page)
        await editor.drag((-5.5, 0.5), (-3, 2.5))
        assert await editor.state() == "1 change not saved"
        await stage.page.click_named("button", "Undo")
        assert await editor.state() == "as saved"
        await stage.page.click_named("button", "Redo")
        assert file.read_bytes().decode() == STAGE, "nothing before Save"
        await editor.save(TAKEN)
        [(_, new)] = lines_differ(file)
        found = re.fullmatch(r"  A: \[(.*), (.*), 0\]     # front left\n", new)
        assert found, new
        at = [float(value) for value in found.groups()]
        assert at == pytest.approx([-3, 2.5], abs=0.051)
        assert all(round(value * 100) % 5 == 0 for value in at), "on 5 cm"
        await until(lambda: "the show is read again" in stage.daemon.log, 5.0, lambda: stage.daemon.log)
        await stage.page.until(f"panel.store.scene.marks.A.at[0] === {at[0]}")
        assert await editor.state() == "as saved"
        assert stage.page.errors == []

    on_stage(tmp_path, test, show="edited", universe=30400)


def test_the_bridge_goes_by_what_was_typed(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        stage.say("/target/lead/position", -7.0, 4.0)
        await stage.page.until("panel.store.frame.targets[0].x === -7")
        await stage.dark(within_s=4.0)
        editor = await Editor.open(stage.page)
        await editor.show("Areas")
        await editor.type("Corner 1, x", "-800 cm")
        assert (await editor.field("Corner 1, x"))["words"] == "= -8 m"
        await editor.type("Corner 4, x", "-26' 3\"")
        await editor.save(TAKEN)
        assert lines_differ(stage.staged.folder / "stage.yaml") == [
            ("  corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]]   # the white line\n",
             "  corners: [[-800 cm, 0], [6, 0], [6, 8], [\"-26' 3\\\"\", 8]]   # the white line\n"),
        ]  # fmt: skip
        stage.say("/target/lead/position", -7.0, 4.0)
        await stage.lit_at(-7.0, 4.0)

    on_stage(tmp_path, test, show="edited", universe=30402)


def test_a_broken_value_is_refused_beside_its_field(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        file, page = stage.staged.folder / "stage.yaml", stage.page
        editor = await Editor.open(page)
        await editor.choose("E")
        await editor.type("y, upstage", "wide")
        told = await editor.field("y, upstage")
        assert told["invalid"] == "true", "told while typing"
        assert "is no length" in told["words"]
        await editor.show("Floors")
        await editor.type("Height of the floor", "3,2")
        assert "comma" in (await editor.field("Height of the floor"))["words"]
        await editor.save("Nothing is saved: 2 problems")
        assert file.read_bytes().decode() == STAGE
        told = await editor.field("Height of the floor")
        assert (told["invalid"], told["focused"]) == ("true", True), "the first is brought into sight"
        assert "found '3,2', allowed is metres" in told["words"]
        await editor.type("Height of the floor", "3.2")
        assert (await editor.field("Height of the floor"))["invalid"] == "false"
        await page.click_named("button", "Show the first")
        told = await editor.field("y, upstage")
        assert (told["focused"], told["value"]) == (True, "wide"), "what was typed is still there"
        assert "found 'wide', allowed is metres" in told["words"]
        assert await violations(page, within=".edit") == []
        await editor.type("y, upstage", "13' 1 1/2\"")
        await editor.save(TAKEN)
        assert len(lines_differ(file)) == 2
        show = load(file.parent)
        assert show.stage.marks["E"].at == pytest.approx((0, 4.0005, 0))
        assert show.stage.floors[0].height == 3.2

    on_stage(tmp_path, test, show="edited", universe=30404)


def test_of_two_pages_the_second_is_told_and_loses_nothing(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        file = stage.staged.folder / "stage.yaml"
        ann, ben = await Editor.open(stage.page), await Editor.open(await stage.open("Ben"))
        await ben.type("z, up", "5 cm")
        await ann.choose("B")
        await ann.type("x, to the right", "5.25")
        await ann.save(TAKEN)
        await ben.page.until(f"{NOTE}.includes('changed by somebody else')")
        await ben.save("so nothing is saved and nothing is lost")
        assert lines_differ(file) == [("  B: [5.5, 0.5, 0]\n", "  B: [5.25, 0.5, 0]\n")]
        assert (await ben.field("z, up"))["value"] == "5 cm"
        await ben.page.click_named("button", "Put my changes into the file as it is now")
        await ben.page.until(f"{NOTE}.includes('your changes stand in it')")
        assert (await ben.field("z, up"))["value"] == "5 cm"
        await ben.save(TAKEN)
        assert [new for _, new in lines_differ(file)] == [
            "  A: [-5.5, 0.5, 5 cm]     # front left\n",
            "  B: [5.25, 0.5, 0]\n",
        ]
        await ann.choose("A")  # without changes of her own she sees his
        await ann.page.until("[...document.querySelectorAll('.e-form input')].some((field) => field.value === '5 cm')")

    on_stage(tmp_path, test, show="edited", universe=30406)


def test_locked_nothing_is_saved(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        file, page = stage.staged.folder / "stage.yaml", stage.page
        editor = await Editor.open(page)
        await editor.type("z, up", "7 cm")
        stage.say("/lock", 1)
        await page.until("panel.store.frame.bridge.locked && document.querySelector('#focus').inert")
        assert await page.evaluate("!document.querySelector('#locked').hidden")
        await page.evaluate("document.querySelector('.e-save').click()")  # as a press that was on its way
        await page.until(f"{NOTE}.includes('locked for the show')", 10.0)
        assert file.read_bytes().decode() == STAGE
        stage.say("/lock", 0)
        await page.until("!document.querySelector('#focus').inert")
        await editor.save(TAKEN)
        assert [new for _, new in lines_differ(file)] == ["  A: [-5.5, 0.5, 7 cm]     # front left\n"]

    on_stage(tmp_path, test, show="edited", universe=30408)


def test_added_renamed_removed_and_asked(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        file, page = stage.staged.folder / "stage.yaml", stage.page
        editor = await Editor.open(page)
        await page.click_named("button", "Add a mark")
        await editor.tap(3, 5)
        await editor.type("Name", "E")
        assert "taken" in (await editor.field("Name"))["words"]
        await editor.type("Name", "G-2")
        await page.key("Tab")
        await editor.choose("F")
        await page.click_named("button", "Remove")
        await page.click_named("button", "Leave it")
        assert await editor.state() == "1 change not saved"
        await page.click_named("button", "Remove")
        await _yes(editor)
        await editor.choose("E")
        await page.click_named("button", "Never surveyed")
        await editor.show("Areas")
        await page.click_named("button", "Add an area")
        for corner in ((6, 1), (8, 1), (8, 4)):
            await editor.tap(*corner)
        await page.click_named("button", "Done")
        await page.click_named("button", "Insert a corner after corner 3")
        await editor.show("Tapes")
        said = await page.evaluate("document.querySelector('.e-compared').textContent")
        assert said == "By their places they are 11.000 m apart: the tape is 2.0 cm longer."
        await page.click_named("button", "Add a tape")
        await editor.type("Length", "6 m")
        await page.click_named("button", "Back to the session")
        await page.click_named("button", "Stay")
        await editor.save("Nothing is saved")  # two tapes between A and B
        second = await page.named("combobox", "To")
        await second.apply("function () { this.value = 'D'; this.dispatchEvent(new Event('change')); }")
        await editor.save(TAKEN)
        show = load(file.parent).stage
        assert list(show.marks) == ["A", "B", "C", "D", "E", "G-2"]
        assert show.marks["G-2"].at == pytest.approx((3, 5, 0), abs=0.051)
        assert show.marks["E"].at is None
        [thrust, new] = show.more_areas
        assert (thrust.name, new.name, len(new.corners)) == ("thrust", "area-1", 4)
        assert (show.tapes[1].between, show.tapes[1].metres) == (("A", "D"), 6.0)
        assert file.read_text().count("#") == STAGE.count("#"), "every comment is there"
        await page.click_named("button", "Back to the session")
        await page.until("document.querySelector('.edit') === null")
        assert page.errors == []

    on_stage(tmp_path, test, show="edited", universe=30410)


async def _yes(editor: Editor) -> None:
    await editor.page.evaluate("document.querySelector('dialog.sure .warn').click()")
    await editor.page.until("document.querySelector('dialog.sure') === null")


def test_fingers_drag_corners_and_whole_areas_and_a_second_finger_is_fine(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = stage.page
        await page.resize(820, 1180, touch=True)
        editor = await Editor.open(page, "touch")
        await editor.show("Areas")
        await editor.choose("thrust")
        await editor.drag((2, -2.5), (3, -3), "touch")
        values = "[...document.querySelectorAll('.e-corner input')].map((input) => parseFloat(input.value))"
        found = await page.evaluate(values)
        assert found[2:4] == pytest.approx([3, -3], abs=0.051)
        assert found[:2] == [-2, -2.5]
        await editor.drag((0, -1), (0, -2), "touch")
        after = await page.evaluate(values)
        assert after[1::2] == pytest.approx([y - 1 for y in found[1::2]], abs=0.051)
        assert after[::2] == pytest.approx(found[::2], abs=0.051)
        start = await editor.at(after[0], after[1])
        beside = (start[0], start[1] - 150)
        await page.fingers("touchStart", [start])
        await page.fingers("touchStart", [start, beside])
        for step in range(1, 11):
            await page.fingers("touchMove", [(start[0] + 10 * step, start[1]), beside])
        await page.fingers("touchEnd", [])
        _, _, width, _, west, east, *_ = await page.evaluate(EDGES)
        moved = (await page.evaluate(values))[0] - after[0]
        assert moved == pytest.approx(100 * (east - west) / width / 5, abs=0.03), "a fifth of the finger's way"

    on_stage(tmp_path, test, show="edited", universe=30412)


def test_nothing_is_cut_or_unreadable_or_without_a_name(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = stage.page
        editor = await Editor.open(page)
        await page.evaluate("document.querySelector('#signs').style.visibility = 'hidden'")  # other tests look at these
        for width, height in SIZES:
            await page.resize(width, height, touch=width < 1000)
            for kind in ("Marks", "Tapes", "Areas", "Floors", "No-light", "Seat"):
                await editor.show(kind)
                await asyncio.sleep(0.1)
                assert await looks(page, least_px=48) == [], (width, kind)
                assert await violations(page, within=".edit") == [], (width, kind)

    on_stage(tmp_path, test, show="edited", universe=30414)


LENGTHS = [
    "3.2 m", "320 cm", "3200 mm", "126 in", "10.5 ft", "10' 6\"", "10' 6 1/2\"", "-10'", "6\"", "1/2 in", "- 3 m",
    "10 ft 6 in", "5-1/4\"", "3\u20326\u2033", "\u22121 m", ".5 m", "+2. m", "wide", "3,2 m", "1/0\"", "10' 6' 2\"",
    "m", "1e3 m", "", "' \"", "3 km",
]  # fmt: skip


def test_the_page_reads_lengths_as_the_show_does(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        found = await stage.page.evaluate(
            f"import('./editunits.js').then((m) => {json.dumps(LENGTHS)}.map((text) => m.metres(text)))"
        )
        for text, seen in zip(LENGTHS, found, strict=True):
            try:
                expected = metres_from_text(text)
            except ValueError:
                expected = None
            assert seen == (None if expected is None else pytest.approx(expected, abs=1e-12)), text

    on_stage(tmp_path, test, show="edited", universe=30416)
