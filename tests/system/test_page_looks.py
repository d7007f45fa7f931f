"""The layout checks of the tests, held against small pages that are wrong in one known way each."""

from __future__ import annotations

import pytest

from tests.system.chromium import CHROMIUM, chromium
from tests.system.local_pages import serving
from tests.system.page_looks import alike, looks
from tests.system.view_stage import in_browser

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")

SIZED = "<style>body { margin: 0 } button { width: 60px; height: 60px }</style>"
RIGHT = """<p>words</p><button>Take</button><button aria-label=Record>R</button><label><input type=checkbox
 style="width:48px;height:48px"> on</label><div style="height:100px;overflow:auto"><button>Solve</button>
<div style="height:300px"></div><button>Below</button></div><p style="position:absolute;width:1px;height:1px;
overflow:hidden">for screen readers</p>"""
WRONG = {
    "small": "<button style='width:30px'>T</button>",
    "beside the page": "<button style='position:fixed;left:1250px'>Take</button>",
    "covered": "<button style='position:fixed;left:10px;top:100px'>Take</button><div style='position:fixed;left:0;"
    "top:90px;width:90px;height:90px;background:#333'></div>",
    "overlap": "<button>Take</button><button style='margin-left:-20px'>Record</button>",
    "cut": "<p style='width:60px;overflow:hidden;white-space:nowrap;text-overflow:ellipsis'>truss-east-upper-01</p>",
    "spills": "<button style='width:50px;font-size:20px'>Everything</button>",
    "words over words": "<style>p { position: fixed; left: 9px; top: 9px }</style><p>riser</p><p>floor</p>",
    "the page is": "<div style='width:1500px;height:9px;background:#333'></div>",
}


def found_on(body: str) -> list[str]:
    found: list[str] = []

    async def test() -> None:
        async with serving(body, SIZED) as url, chromium() as browser:
            found.extend(await looks(await browser.open(url)))

    in_browser(test)
    return found


def test_nothing_is_found_where_nothing_is_wrong() -> None:
    assert found_on(RIGHT) == []


@pytest.mark.parametrize("kind", list(WRONG))
def test_each_fault_is_found_and_no_other(kind: str) -> None:
    found = found_on(WRONG[kind])
    assert found
    assert {line[: len(kind)] for line in found} == {kind}


def test_names_that_are_shortened_to_the_same_letters_are_found_in_texts_and_drawings() -> None:
    names = [f"truss-{side}-upper-{n:02}" for side in ("east", "west") for n in range(1, 13)]
    body = """<p>truss-east-upper-01</p><p>truss-ea…</p><canvas></canvas><script>
    const context = document.querySelector('canvas').getContext('2d');
    for (const text of ['…-07', 'truss-e…-03', 'truss-…-04']) context.fillText(text, 9, 9);</script>"""

    async def test() -> None:
        async with serving(body) as url, chromium() as browser:
            page = await browser.open(url)
            assert await alike(page, names) == ["truss-ea…", "truss-…-04", "…-07"]
            assert await alike(page, names, "truss-e") == ["truss-ea…"]

    in_browser(test)
