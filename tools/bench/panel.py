"""The panel's figures beside those asked for: real daemon, real panel, real Chromium, driven by its own input events.

    python tools/bench/panel.py                 some three minutes
    python tools/bench/panel.py --quick         one minute, fewer samples

Leave the machine alone meanwhile: Chromium draws in software and wants a core. Numbers are printed, never asserted.
"""

from __future__ import annotations

import argparse
import asyncio
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from ear import machine
from panel_losses import four_lines, packets_meanwhile, told_after_ms
from panel_measures import latency, load, pictures
from panel_pages import paint, screens

UNIVERSE = 30240
Row = tuple[str, str, str]


def of_quantiles(found: dict[str, float | None], count: int) -> str:
    """`p50 4.1 ms, p95 12.2 ms (60)`."""
    if not count:
        return "nothing answered"
    return ", ".join(f"{key.removesuffix('_ms')} {value:.1f} ms" for key, value in found.items()) + f" ({count})"


async def rows(scratch: Path, samples: int, seconds: float) -> list[Row]:
    """Figure, asked, found."""
    table: list[Row] = []
    delay = await latency(scratch / "latency", UNIVERSE, samples)
    asked = "p50 <= 8 ms, p95 <= 20 ms"
    table += [
        (f"{word} to changed sACN packet, output idle", asked if n == 0 else "", of_quantiles(found, count))
        for n, (word, (found, count)) in enumerate(delay.items())
    ]
    without, alone, four = await load(scratch / "load", UNIVERSE + 2, seconds)
    table += [
        ("four pages, one dragging: packet period off by, p99", "<= 1.5 ms", f"{four['deviation_p99_ms']} ms"),
        ("... no page; no panel", "", f"{alone['deviation_p99_ms']} ms; {without['deviation_p99_ms']} ms"),
        ("four pages, one dragging: daemon's CPU", "", f"{four['cpu_percent']:.2f} % of a core"),
        ("... more than with no page", "<= 3 %", f"{four['cpu_percent'] - alone['cpu_percent']:+.2f} %"),
        ("... more than with no panel", "", f"{four['cpu_percent'] - without['cpu_percent']:+.2f} %"),
        ("... moves of the pointer a second", "60", f"{four['pace']:.1f}"),
    ]
    calm_lines, lines = await four_lines(scratch / "lines", UNIVERSE + 14, seconds)
    off = f"{lines['deviation_p99_ms']} ms; {calm_lines['deviation_p99_ms']} ms"
    cpu = f"{lines['cpu_percent'] - calm_lines['cpu_percent']:+.2f} %"
    table += [
        ("four lines without a browser: packet period off by, p99; no line", "<= 1.5 ms", off),
        ("... daemon's CPU more than with none", "<= 3 %", cpu),
    ]
    standing, dragged, bounded = await pictures(scratch / "pictures", UNIVERSE + 4, seconds / 2)
    table += [
        ("plan with 48 heads, one dragging, software rendering", ">= 30 pictures/s", f"{dragged:.1f}"),
        ("... no hand on it; the browser's own pictures", "", f"{standing:.1f}; {bounded:.1f}"),
    ]
    found = await paint(scratch / "paint", UNIVERSE + 6)
    table += [
        ("first contentful paint; the plan drawn", "<= 1 s", f"{found.paint_ms:.0f} ms; {found.plan_ms:.0f} ms"),
        ("page and scripts, as transferred", "<= 250 kB", f"{found.octets / 1000:.1f} kB in {found.files} files"),
    ]
    told = await told_after_ms(scratch / "told", UNIVERSE + 10)
    table.append(
        ("daemon killed until the page says so, each of 5", "<= 500 ms", ", ".join(f"{ms:.0f}" for ms in told))
    )
    calm, killed = await packets_meanwhile(scratch / "killed", UNIVERSE + 12)
    table.append(("longest time between packets: panel killed 5 times; calm", "", f"{killed:.1f} ms; {calm:.1f} ms"))
    wrong = await screens(scratch / "screens", UNIVERSE + 8)
    table.append(("axe-core violations, all screens at 4 sizes", "0", str(len(wrong))))
    return table + [("", "", line) for line in sorted(set(wrong))[:20]]


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true")
    args = parser.parse_args()
    print(machine(), flush=True)
    with tempfile.TemporaryDirectory() as scratch:
        table = asyncio.run(rows(Path(scratch), *((20, 6.0) if args.quick else (60, 20.0))))
    widths = [max(len(row[k]) for row in table) for k in range(2)]
    for figure, asked, found in [("figure", "asked", "found"), *table]:
        print(f"{figure:{widths[0]}}  {asked:{widths[1]}}  {found}".rstrip())
    print("\nafter:", machine())


if __name__ == "__main__":
    main()
