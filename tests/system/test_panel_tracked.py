"""A tracking system of its own axes, a real daemon and the page: carried to marks, kept, solved, followed, taken."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path

import pytest

from bridge.daemon import clock
from bridge.geometry.input_frame import InputFrame
from bridge.show.frames import load_frames
from bridge.show.load import load
from bridge.wire import psn
from tests.made_inputs import GROUP
from tests.system import panel_shows
from tests.system.chromium import CHROMIUM, Page
from tests.system.panel_shows import SHOWS, StagedShow
from tests.system.panel_stage import PanelStage, on_stage
from tests.unit.solve.records_on_marks import input_of

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")

FIRST = 30280
TRUE = InputFrame(axes=("x", "z", "y"), turn=25.0, origin=(1.0, 2.0, -1.1))  # left-handed, y up, the tag 1.1 m high
TOLD = "document.querySelector('.f-lines').innerText"
LIVE = "document.querySelectorAll('.f-state-of')[1].innerText"
MARK = "document.querySelector('[aria-label=Mark]')"


def tracked(folder: Path, first_universe: int, solved: bool = True) -> StagedShow:
    """The demo's heads; tracker 3 of a PosiStageNet system steers lead."""
    staged = SHOWS["demo"](folder, first_universe, solved)
    with (folder / "network.yaml").open("a", encoding="utf-8") as network:
        address = f"{GROUP[0]}:{GROUP[1]}"
        network.write(f'inputs: {{hall: {{protocol: psn, interface: 127.0.0.1, to: "{address}"}}}}\n')
    stage = folder / "stage.yaml"
    stage.write_text(stage.read_text().replace("source: osc", 'source: {input: hall, point: "3"}'))
    return replace(staged, show=load(folder))


@dataclass
class Tag:
    """A person with tracker 3 who stands at `place` or walks; tracker 4 lies somewhere."""

    place: tuple[float, float] = (-5.5, 0.5)
    speed: tuple[float, float] = (0.0, 0.0)
    sending: bool = True
    frames: int = field(default=0)

    def send(self, sends: socket.socket, passed_s: float) -> None:
        x, y = self.place = tuple(p + v * passed_s for p, v in zip(self.place, self.speed, strict=True))  # type: ignore[assignment]
        self.frames += 1
        if not self.sending:
            return
        at = [float(v) for v in input_of(TRUE, (x, y, 0.0))]
        trackers = [psn.Tracker(3, (at[0], at[1], at[2])), psn.Tracker(4, (9.0, 9.0, 9.0))]
        for page in psn.data(trackers, round(clock.now_s() * 1e6), self.frames % 256):
            sends.sendto(page, GROUP)


@asynccontextmanager
async def tag_sends() -> AsyncIterator[Tag]:
    """A tag at 50 Hz, until the end of the block."""
    tag = Tag()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sends:
        sends.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))

        async def play() -> None:
            last_s = clock.now_s()
            while True:
                now_s = clock.now_s()
                tag.send(sends, now_s - last_s)
                last_s = now_s
                await asyncio.sleep(0.02)

        playing = asyncio.create_task(play())
        try:
            yield tag
        finally:
            playing.cancel()
            await asyncio.gather(playing, return_exceptions=True)


async def keep(page: Page, tag: Tag, name: str, at: tuple[float, float]) -> None:
    """Carry the tag to a mark and keep it there by hand."""
    tag.place = at
    await page.evaluate(f"({MARK}.value = {name!r}, {MARK}.dispatchEvent(new Event('change')))")
    await asyncio.sleep(1.4)  # a whole second of it
    await page.until(f"{LIVE}.includes('3 stands still')", 15.0)
    await page.click_named("button", "Keep point on mark")
    await page.until(f"{TOLD}.includes('Kept: {name}: 3 at ')", 10.0)


async def frame_from_marks(stage: PanelStage, tag: Tag) -> None:
    page, marks = stage.page, stage.staged.show.stage.marks
    await page.click_named("tab", "Rig")
    table = "document.querySelector('[aria-label=\"Tracking inputs\"]')"
    row = f"[...{table}.tBodies[0].rows[0].cells].map((c) => c.innerText)"
    await page.until(f"{row}[3] === 'no frame: heard, not followed' && {row}[2] === '2 heard; followed: 3'", 20.0)
    await page.click_named("tab", "Focus session")
    await page.click_named("button", "Choose")
    await page.click_named("button", "Frame of an input")
    for name in "AC":
        await keep(page, tag, name, marks[name].at[:2])
    await page.until("document.querySelector('.f-frame table').tBodies[0].rows.length === 2", 10.0)
    await keep(page, tag, "D", marks["D"].at[:2])
    tag.speed = (0.8, 0.0)
    await page.until(f"{LIVE}.includes('3 moves')", 10.0)
    await asyncio.sleep(1.0)  # all of the last second
    await page.click_named("button", "Keep point on mark")
    await page.until(f"{TOLD}.includes('hold it still on D')", 10.0)
    tag.speed = (0.0, 0.0)
    await page.click_named("button", "Solve frame")
    await page.until(f"{TOLD}.includes('Solved: places good to')", 20.0)
    await page.until("document.querySelector('.f-state-of').innerText.includes('hall (psn) has a frame')", 10.0)
    assert load_frames(stage.staged.folder).frames["hall"].axes == TRUE.axes


def test_a_point_is_kept_on_marks_by_hand_solved_and_followed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(panel_shows.SHOWS, "tracked", tracked)

    async def test(stage: PanelStage) -> None:
        page = stage.page
        async with tag_sends() as tag:
            await frame_from_marks(stage, tag)
            tag.place = (1.0, 3.0)
            await stage.lit_at(1.0, 3.0, within_s=20.0)
            await page.click_named("tab", "Follow")
            await page.until("document.querySelector('.whose').innerText.trim() === 'Tracked by hall'")
            tag.place, tag.speed = (-4.0, 3.0), (1.5, 0.0)
            await page.until("panel.store.target('lead').ahead?.[0] > panel.store.target('lead').x + 0.05", 10.0)
            tag.speed = (0.0, 0.0)
            await page.evaluate("(panel.controls.wire.now('/target/lead/size', 3), 1)")
            await page.until("Math.abs(panel.store.target('lead').size - 3) < 0.001")
            await page.click_named("button", "Take")
            await page.click_named("button", "Take it")
            await page.until("document.querySelector('.whose').innerText.trim() === 'Your hand'", 10.0)
            tag.place = (3.0, 6.0)
            await asyncio.sleep(1.0)
            assert await page.evaluate("panel.store.target('lead').y") < 4.0, "the hand has it"
            await page.click_named("button", "Let go")
            await stage.lit_at(3.0, 6.0, within_s=20.0)
            tag.sending = False
            await page.click_named("tab", "Rig")
            table = "document.querySelector('[aria-label=\"Tracking inputs\"]').innerText"
            await page.until(f"{table}.includes('lost: 3') && {table}.includes('lost, ')", 15.0)
        assert page.errors == []

    on_stage(tmp_path, test, show="tracked", universe=FIRST)
