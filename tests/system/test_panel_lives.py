"""What becomes of panel, daemon, line and page when one of them dies; and what strangers get from the panel."""

from __future__ import annotations

import asyncio
import json
import signal
from pathlib import Path

import aiohttp
import pytest

from tests.system.chromium import CHROMIUM
from tests.system.panel_stage import PanelStage, on_stage

browser = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
LOST = "document.body.dataset.lost === 'true' && !document.querySelector('#banner').hidden"
FOUND = "document.body.dataset.lost === 'false' && document.querySelector('#banner').hidden"


@browser
def test_a_dead_daemon_is_told_at_once_and_all_comes_back(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = stage.page
        await page.until(FOUND)
        await stage.daemon.end(signal.SIGKILL)
        await page.until(LOST, 5)  # how soon is measured by tools/bench/panel.py
        assert "bridge is not heard" in await page.evaluate("document.querySelector('#banner-text').textContent")
        await stage.daemon.start()
        await page.until(FOUND, 20)
        stage.say("/target/lead/position", 1.0, 2.0)
        await page.until("panel.store.frame.targets[0].x === 1", 10)
        assert page.errors == []

    on_stage(tmp_path, test, universe=30250)


@browser
def test_a_dead_panel_costs_no_light_and_its_page_goes_on_by_itself(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = stage.page
        stage.say("/target/lead/position", 1.0, 2.0)
        await stage.lit_at(1.0, 2.0)
        await stage.panel.end(signal.SIGKILL)
        await page.until(LOST, 5)
        assert "panel is not heard" in await page.evaluate("document.querySelector('#banner-text').textContent")
        stage.say("/target/lead/position", -2.0, 4.0)
        await stage.lit_at(-2.0, 4.0)
        await stage.panel.start()
        await page.until(FOUND, 20)
        await page.until("panel.store.frame.targets[0].x === -2")
        await page.evaluate("(panel.link.osc('/dark', 1), 1)")
        await stage.dark()

    on_stage(tmp_path, test, universe=30252)


@browser
def test_a_cut_line_comes_back_and_the_operator_is_the_same(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = await stage.open("Ann")
        await page.until("panel.store.me.name === 'Ann'")
        for _ in range(3):
            number = await page.evaluate("panel.store.me.id")
            await page.drop_sockets()
            await page.until(f"panel.store.me.id !== {number} && panel.store.me.name === 'Ann'", 10)
        await page.until("panel.store.frame.pages.filter((name) => name.startsWith('Ann')).length === 1")
        await page.offline(True)
        await page.until(LOST, 10)
        await page.offline(False)
        await page.until(FOUND, 20)

    on_stage(tmp_path, test, universe=30254)


def test_strangers_are_turned_away_and_nothing_of_theirs_reaches_the_bridge(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        stage.say("/target/lead/position", 1.0, 2.0)
        await stage.lit_at(1.0, 2.0)
        ws_url = stage.url.replace("http", "ws") + "stream"
        async with aiohttp.ClientSession() as http:
            for headers in ({"Origin": "http://elsewhere.example"}, {"Host": "elsewhere.example"}):
                with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
                    await http.ws_connect(ws_url, headers=headers)
                assert refused.value.status == 403
            async with http.ws_connect(ws_url, max_msg_size=0) as ws:
                await ws.send_str(json.dumps({"do": "osc", "address": "/dark", "args": ["x" * 10_000_000]}))
                closed = await last_of(ws)
                assert closed == 1009
            async with http.ws_connect(ws_url) as ws:
                for junk in ("", "[]", '{"do":"osc","address":"/feed/subscribe","args":[1,1]}', '{"do":"osc"}', "\0"):
                    await ws.send_str(junk)
                await ws.send_str('{"do":"osc","address":"/dark","args":[1]}')
                kinds = [json.loads((await ws.receive()).data)["kind"] for _ in range(12)]
                assert kinds.count("refused") == 5
        await stage.dark()
        assert (await stage.health())["refused"] == 5

    on_stage(tmp_path, test, universe=30256, with_browser=False)


def test_a_flood_from_one_page_is_cut_off_and_another_page_still_steers(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        ws_url = stage.url.replace("http", "ws") + "stream"
        async with aiohttp.ClientSession() as http, http.ws_connect(ws_url) as flood, http.ws_connect(ws_url) as calm:
            text = json.dumps({"do": "osc", "address": "/target/lead/position", "args": [0.0, 1.0]})

            async def pour() -> None:
                for _ in range(20_000):
                    await flood.send_str(text)

            pouring = asyncio.create_task(pour())
            code = await last_of(flood)
            pouring.cancel()
            await asyncio.gather(pouring, return_exceptions=True)
            assert code == 1008
            await calm.send_str('{"do":"osc","address":"/target/lead/take","args":[]}')
            await calm.send_str('{"do":"osc","address":"/target/lead/position","args":[2.0,3.0]}')
            await stage.lit_at(2.0, 3.0)

    on_stage(tmp_path, test, universe=30258, with_browser=False)


async def last_of(ws: aiohttp.ClientWebSocketResponse) -> int | None:
    """Read until the other side closes; its code."""
    async for _ in ws:
        pass
    return ws.close_code
