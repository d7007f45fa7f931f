"""What the panel draws, in a real Chromium with made-up data, without a daemon: sight, pools, names, how fast."""

from __future__ import annotations

import asyncio
import json
import math
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from aiohttp import web

from bridge.panel.panel import files
from bridge.panel.scene import scene
from bridge.web.files import server_of
from tests.system.chromium import CHROMIUM, Page, chromium
from tests.system.panel_shows import many_show

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
EMPTY = """<!doctype html><title>Drawing</title><link rel=icon href=/icon.svg>
<link rel=stylesheet href=/style.css><link rel=stylesheet href=/follow.css>
<body><div class=stage style="width: 908px; height: 728px"></div></body>"""


@asynccontextmanager
async def modules() -> AsyncIterator[Page]:
    """An empty page that may import the panel's modules."""

    async def empty(_request: web.Request) -> web.Response:
        return web.Response(text=EMPTY, content_type="text/html")

    app = web.Application()
    app.router.add_get("/empty", empty)
    app.router.add_get("/{name:.*}", server_of(files()))
    runner = web.AppRunner(app, shutdown_timeout=0.2)
    await runner.setup()
    site = web.TCPSite(runner, "127.0.0.1", 0)
    await site.start()
    try:
        async with chromium() as browser:
            port = runner.addresses[0][1]
            page = await browser.open(f"http://127.0.0.1:{port}/empty", 1280, 800)
            yield page
            assert page.errors == []
    finally:
        await runner.cleanup()


def in_page(test: Callable[[Page], Awaitable[None]]) -> None:
    """Run a test's coroutine function on such a page."""

    async def whole() -> None:
        async with modules() as page:
            await test(page)

    asyncio.run(asyncio.wait_for(whole(), 120))


MEETS = """import('/planfloor.js').then(({ meets, heightAt }) => {
  const floors = [
    { name: 'riser', corners: [[-2, 5], [2, 5], [2, 8], [-2, 8]], height: 0.6 },
    { name: 'pit', corners: [[-2, -2], [2, -2], [2, 0], [-2, 0]], height: -1 },
  ];
  const to = (eye, p) => meets(floors, eye, p.map((v, i) => v - eye[i]));
  return [heightAt(floors, 0, 6), heightAt(floors, 0, -1), heightAt(floors, 5, 6),
    to([0, -10, 4], [1, 3, 0]), to([0, -10, 4], [1, 6, 0.6]), to([0, -10, 1], [0, 5.0, 0.3]),
    to([0, -4, 8], [0, -0.5, -1]), to([0, -10, 4], [0, -0.5, -1]),
    meets(floors, [0, -10, 4], [0, 1, 0]), meets(floors, [0, -10, 4], [0, 1, 0.2])];
})"""


def test_rays_of_sight_end_on_stage_risers_their_sides_and_in_pits() -> None:
    async def test(page: Page) -> None:
        top, pit, beside, flat, on_top, on_side, in_pit, edge, level, sky = await page.evaluate(MEETS)
        assert (top, pit, beside) == (0.6, -1, 0)
        assert flat == pytest.approx([1, 3])
        assert on_top == pytest.approx([1, 6])
        assert on_side == pytest.approx([0, 5]), "the side that faces the seat hides what is behind it"
        assert in_pit == pytest.approx([0, -0.5])
        assert edge == pytest.approx([0, -2.4]), "seen flatter, the stage before the pit hides its ground"
        assert level is None
        assert sky is None

    in_page(test)


def test_the_edge_of_a_pool_is_where_the_cone_meets_the_floor() -> None:
    """Against the definition: every point of the edge is seen from the lens at the cone's half angle off the axis."""

    async def test(page: Page) -> None:
        for at, over, radius in (
            ((0, -12, 9), (2, 3, 1.3), 1.0),
            ((7, 4, 8), (-2, 5, 1.3), 0.4),
            ((1, 2, 8), (1, 2, 1), 1.0),
        ):
            lens, aim = np.array(at, float), np.array(over, float)
            axis = (aim - lens) / np.linalg.norm(aim - lens)
            hit = lens + axis * (-lens[2] / axis[2])
            head = json.dumps({"hit": hit.tolist(), "over": list(over), "pool": radius})
            edge = np.array(await page.evaluate(f"import('/planlive.js').then((m) => m.poolEdge({list(at)}, {head}))"))
            ways = edge - lens
            off = np.arccos(ways @ axis / np.linalg.norm(ways, axis=1))
            assert edge[:, 2] == pytest.approx(0)
            assert np.tan(off) == pytest.approx(radius / np.linalg.norm(aim - lens), rel=1e-3)

    in_page(test)


SET_UP = """Promise.all(['store', 'followstage', 'hand', 'settings', 'dom'].map((n) => import(`/${n}.js`)))
  .then(([{ Store }, { FollowStage }, { Hand }, { Settings }]) => {
    const root = document.querySelector('.stage');
    const link = { open: true, osc: () => true };
    const app = window.app = { store: new Store(), settings: new Settings(), say() {}, link };
    app.hand = new Hand(app);
    new FollowStage(root, app);
    return new Promise((done) => setTimeout(done, 500));
  })"""
WORDS = """(() => { const canvas = CanvasRenderingContext2D.prototype, fill = canvas.fillText;
  window.written = new Set();
  canvas.fillText = function (text, ...rest) {
    window.written.add(text);
    fill.call(this, text, ...rest);
  }; })()"""
FEED = """((view, scene, frames) => new Promise((done) => {
  const { store } = window.app, drawn = window.app[view], took = [], draw = drawn.draw.bind(drawn);
  drawn.draw = () => {
    const began = performance.now(), before = drawn.pictures;
    draw();
    if (drawn.pictures > before) took.push(performance.now() - began);
  };
  store.take({ kind: 'scene', scene });
  let told = 0;
  const began = performance.now();
  const timer = setInterval(() => {
    store.take({ kind: 'frame', frame: frames[told++ % frames.length] });
    const seconds = (performance.now() - began) / 1000;
    if (seconds < 4) return;
    clearInterval(timer);
    done([told / seconds, took.length / seconds, took.sort((a, b) => a - b)[Math.floor(took.length / 2)]]);
  }, 1000 / 40);
}))"""


def frame(of: dict[str, Any], t: float) -> dict[str, Any]:
    """The bridge at `t` seconds: all heads lit on a performer who walks an eight, by plain geometry alone."""
    aim = np.array([4.2 * math.sin(t / 2.3), 3.6 + 2.4 * math.sin(t / 1.15), 1.3])
    heads = []
    for head in of["heads"]:
        lens = np.array(head["at"])
        hit = lens + (aim - lens) * lens[2] / (lens[2] - aim[2])
        told = {"state": "lit", "level": 1.0, "hit": hit.tolist(), "over": aim.tolist(), "pool": 1.0, "target": "lead"}
        heads.append(told)
    lead = {"name": "lead", "x": aim[0], "y": aim[1], "z": 1.3, "inside": True, "age": 10, "hand": "Ann@h", "level": 1}
    return {"t": t, "age": 5, "bridge": {}, "targets": [lead], "heads": heads, "pages": [], "floors": {}, "areas": {}}


@pytest.mark.parametrize("view", ["plan", "seat"])
def test_48_lit_heads_are_drawn_thirty_times_a_second_and_named_in_full(tmp_path: Path, view: str) -> None:
    async def test(page: Page) -> None:
        staged = many_show(tmp_path / "show", 30274)
        of = scene(staged.show, staged.show.poses, 1)
        await page.evaluate(SET_UP)
        await page.until("document.querySelector('.stage .views').offsetHeight > 300")
        if view == "seat":
            await page.click_named("button", "From my seat")
        await page.evaluate(WORDS)
        frames = [frame(of, k / 40) for k in range(80)]
        told, pictures, took_ms = await page.evaluate(f"({FEED})({view!r}, {json.dumps(of)}, {json.dumps(frames)})")
        print(f"{view}: {told:.1f} frames/s in, {pictures:.1f} pictures/s, {took_ms:.1f} ms a picture (median)")
        assert took_ms < 1000 / 30, "longer than a thirtieth of a second"
        assert pictures >= min(30, 0.8 * told), f"{pictures} pictures of {told} frames a second"
        names = {head["name"] for head in of["heads"]}
        words = await page.evaluate("[...window.written]")
        named = [word for word in words if word.startswith("truss-") and " heads" not in word]
        assert named
        for word in named:
            assert {part.removesuffix(" lit") for part in word.split(", ")} <= names, (
                f"{word!r} is no head's whole name"
            )

    in_page(test)
