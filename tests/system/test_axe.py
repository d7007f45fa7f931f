"""axe-core as the tests use it: what is wrong is found, what is right is not, and the venue's page is right."""

from __future__ import annotations

import hashlib
import io
import tarfile
from base64 import b64encode

import pytest

from tests.system.axe import violations
from tests.system.chromium import CHROMIUM, chromium
from tests.system.local_pages import serving
from tests.system.view_stage import in_browser, staged
from tools import fetch_axe

browser = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
# Three known violations of WCAG 2.2: contrast 1.4.3 (2.3:1), a button without a name 4.1.2, targets too small 2.5.8.
WRONG = """<main><h1>Small</h1><p style="color:#aaa;background:#fff">pale</p><button id=nameless></button>
<button style="width:10px;height:10px;padding:0;border:0" aria-label=a></button><button
 style="width:10px;height:10px;padding:0;border:0" aria-label=b></button></main>"""
RIGHT = """<main><h1>Small</h1><p style="color:#222;background:#fff">dark</p><button>Record</button></main>"""
SIZES = [(390, 844), (820, 1180), (1280, 800), (1920, 1080)]


@browser
def test_what_is_wrong_with_a_page_is_found_under_its_content_policy() -> None:
    async def test() -> None:
        policy = "default-src 'none'; style-src 'unsafe-inline'"
        async with serving(WRONG, policy=policy) as url, chromium() as browser:
            page = await browser.open(url)
            found = await violations(page)
            assert {line.split(":")[0] for line in found} == {"color-contrast", "button-name", "target-size"}
            assert any("#nameless" in line for line in found)
            assert await violations(page, tags=("wcag22aa",)) == [line for line in found if "target-size" in line]
            assert await violations(page, within="h1") == []

    in_browser(test)


@browser
def test_nothing_is_found_on_a_page_that_is_right() -> None:
    async def test() -> None:
        async with serving(RIGHT) as url, chromium() as browser:
            assert await violations(await browser.open(url)) == []

    in_browser(test)


@browser
@pytest.mark.parametrize("heads", [12, 48])
def test_the_venues_page_has_no_violation_at_any_size(heads: int) -> None:
    async def test() -> None:
        async with staged(heads) as stage:
            for width, height in SIZES:
                await stage.page.resize(width, height)
                for view in ("plan", "free"):
                    await stage.page.click(f"[data-view={view}]")
                    assert (width, height, view, await violations(stage.page)) == (width, height, view, [])
            await stage.page.click("#believe")
            assert await violations(stage.page) == []
            await stage.page.until("!document.getElementById('banner').hidden")
            assert await violations(stage.page) == []

    in_browser(test)


def package(text: bytes, name: str = fetch_axe.MEMBER) -> bytes:
    packed = io.BytesIO()
    with tarfile.open(fileobj=packed, mode="w:gz") as archive:
        entry = tarfile.TarInfo(name)
        entry.size = len(text)
        archive.addfile(entry, io.BytesIO(text))
    return packed.getvalue()


def integrity(octets: bytes) -> str:
    return "sha512-" + b64encode(hashlib.sha512(octets).digest()).decode()


def test_the_script_is_taken_only_from_the_package_that_was_asked_for() -> None:
    packed = package(b"axe = 1")
    assert fetch_axe.script_of(packed, integrity(packed)) == b"axe = 1"
    with pytest.raises(ValueError, match="not what axe-core published"):
        fetch_axe.script_of(packed)
    other = package(b"axe = 1", "package/other.js")
    with pytest.raises(ValueError, match=r"holds no package/axe\.min\.js"):
        fetch_axe.script_of(other, integrity(other))
