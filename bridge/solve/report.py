"""The page for the next crew: one HTML text that needs nothing else, readable in the dark and on paper."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

import numpy as np

from bridge.geometry.stage import Stage
from bridge.rig.fixture import Fixture
from bridge.solve.report_plots import colour, error_map, plan, scale_bar, section, top_of
from bridge.solve.result import Calibration, SolvedFixture
from bridge.solve.words import suspect_words

STYLE = """
:root { color-scheme: light dark; --ink: #1d2430; --paper: #fbfaf7; --soft: #6b7483; --line: #cfd3da; --good: #1d7a4f;
  --bad: #b3261e; --mark: #b4690e; --head: #2456a6; --card: #f1efe9; }
@media (prefers-color-scheme: dark) { :root { --ink: #e3e6eb; --paper: #14171c; --soft: #98a1b0; --line: #39404b;
  --good: #6fcf9a; --bad: #ff8a80; --mark: #f0b35a; --head: #8ab4f8; --card: #1d2128; } }
@media print { :root { --ink: #000; --paper: #fff; --soft: #444; --line: #bbb; --card: #fff; color-scheme: light; }
  section { break-inside: avoid; } }
body { font: 15px/1.5 system-ui, sans-serif; color: var(--ink); background: var(--paper); margin: 0 auto;
  max-width: 1100px; padding: 24px; }
h1 { margin: 0 0 4px; } h2 { margin: 32px 0 8px; border-bottom: 1px solid var(--line); } .soft { color: var(--soft); }
.verdict { font-weight: 600; } .good { color: var(--good); } .bad { color: var(--bad); }
.two { display: grid; grid-template-columns: repeat(auto-fit, minmax(420px, 1fr)); gap: 16px; }
.two > figure.map { max-width: 640px; }
.many { display: grid; grid-template-columns: repeat(auto-fill, minmax(160px, 1fr)); gap: 12px; }
figure { margin: 0; background: var(--card); border: 1px solid var(--line); border-radius: 8px; padding: 8px; }
figcaption { font-size: 13px; color: var(--soft); } svg { width: 100%; height: auto; display: block; }
svg.bar { max-width: 300px; } svg text { font: 12px system-ui, sans-serif; fill: var(--ink); }
.stage { fill: none; stroke: var(--ink); stroke-width: 1.5; } .floor { stroke: var(--ink); stroke-width: 2; }
.no-light { fill: var(--bad); fill-opacity: .15; stroke: var(--bad); stroke-dasharray: 4 3; }
path.mark { stroke: var(--mark); stroke-width: 2; fill: none; } text.mark { fill: var(--mark); font-weight: 600; }
circle.head, text.head { fill: var(--head); } circle.doubted, text.doubted { fill: var(--bad); }
circle.next { fill: none; stroke: var(--good); stroke-width: 2; stroke-dasharray: 3 2; }
text.next { fill: var(--good); }
table { border-collapse: collapse; font-size: 13px; width: 100%; } .wide { overflow-x: auto; }
th, td { text-align: right; padding: 3px 8px; border-bottom: 1px solid var(--line); white-space: nowrap; }
th:first-child, td:first-child, .left { text-align: left; white-space: normal; } li { margin: 4px 0; }
"""


def report_html(name: str, fixtures: Sequence[Fixture], stage: Stage, calibration: Calibration, solved_at: str) -> str:
    """One self-contained HTML page; `name` of the show and `solved_at` are printed as they are."""
    parts = [
        _head(name, calibration, solved_at),
        _list("Doubts", [suspect_words(s) for s in calibration.suspects], "Nothing looks wrong.", "bad"),
        _list("What to do next", _more(calibration), "Nothing: this is as good as it needs to be."),
        _drawings(stage, calibration),
        _maps(stage, calibration),
        _fixtures(fixtures, calibration),
        _residuals(calibration),
        _marks(calibration),
        _list("Notes", calibration.notes, ""),
        _how(stage),
    ]
    body = "\n".join(part for part in parts if part)
    return (
        f'<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>{escape(name)}: calibration</title>'
        f'<meta name="viewport" content="width=device-width"><style>{STYLE}</style></head>\n'
        f"<body>\n{body}\n</body></html>\n"
    )


def _head(name: str, calibration: Calibration, solved_at: str) -> str:
    count = len(calibration.fixtures)
    unverified = sum(not f.verified for f in calibration.fixtures.values())
    verdict = '<span class="good">Trusted</span>' if calibration.trusted else '<span class="bad">Not trusted yet</span>'
    extra = f"; {unverified} unverified (a mistake in one measurement could hide in them)" if unverified else ""
    lost = f"; {len(calibration.unsolved)} without a new pose" if calibration.unsolved else ""
    return (
        f'<h1>{escape(name)}</h1><p class="soft">Calibration of {escape(solved_at)}</p>'
        f'<p class="verdict">{verdict}: {count} fixtures solved{extra}{lost}.</p>'
        f"<p>{_predicted(calibration)}</p>"
    )


def _predicted(calibration: Calibration) -> str:
    if calibration.rms is None:
        return "Something looks wrong with every pose, so no aim error is predicted."
    worst = max((f for f in calibration.fixtures.values() if f.sound), key=lambda f: f.worst)
    return (
        "Predicted aim error of the fixtures that nothing looks wrong with, over the performance polygon:"
        f" <b>{100 * calibration.rms:.1f} cm rms</b>. Worst place: {escape(worst.name)} at"
        f" ({worst.worst_at[0]:g}, {worst.worst_at[1]:g}, {worst.worst_at[2]:g}), {100 * worst.worst:.1f} cm rms."
    )


def _more(calibration: Calibration) -> list[str]:
    told = {suspect_words(s) for s in calibration.suspects}
    return [line for line in calibration.advice if line not in told]


def _list(title: str, lines: Iterable[str], empty: str, kind: str = "") -> str:
    lines = list(lines)
    if not lines and not empty:
        return ""
    inner = "".join(f"<li>{escape(line)}</li>" for line in lines)
    body = f'<ul class="{kind}">{inner}</ul>' if lines else f"<p>{escape(empty)}</p>"
    return f"<section><h2>{title}</h2>{body}</section>"


def _drawings(stage: Stage, calibration: Calibration) -> str:
    return (
        '<section><h2>The rig</h2><div class="two">'
        f"<figure>{plan(stage, calibration)}<figcaption>Plan. x to the right as the audience sees it, y upstage;"
        " metres. Crosses are marks, dots are fixtures (where pan and tilt axes meet).</figcaption></figure>"
        f"<figure>{section(stage, calibration)}<figcaption>Section from the side: y upstage, z up.</figcaption>"
        "</figure></div></section>"
    )


def _maps(stage: Stage, calibration: Calibration) -> str:
    by_name = {name: f.by_point for name, f in calibration.fixtures.items() if f.sound}
    if not by_name:
        return ""
    top = top_of(by_name)
    worst = np.max(np.array(list(by_name.values())), axis=0)
    big = error_map(stage, calibration.points, worst, top, "worst fixture at each place")
    small = "".join(
        f"<figure>{error_map(stage, calibration.points, miss, top, name, 200.0)}"
        f"<figcaption>{escape(name)}: {100 * calibration.fixtures[name].aim_rms:.1f} cm</figcaption></figure>"
        for name, miss in by_name.items()
    )
    return (
        "<section><h2>Predicted aim error</h2><p>How far from the point asked for the beam axis will pass, rms, on the"
        f" floor and at the target's height together. One scale for all maps:</p>{scale_bar(top)}"
        f'<div class="two"><figure class="map">{big}<figcaption>The worst fixture at each place.</figcaption></figure>'
        "</div>"
        "</section>"
        f'<section><h2>Map per fixture</h2><div class="many">{small}</div></section>'
    )


def _fixtures(fixtures: Sequence[Fixture], calibration: Calibration) -> str:
    heads = ("fixture", "x", "y", "z m", "sigma cm", "turn sigma deg", "rms", "95 %", "worst cm", "faces", "")
    rows = "".join(_row(calibration.fixtures[f.name]) for f in fixtures if f.name in calibration.fixtures)
    return f'<section><h2>Fixtures</h2><div class="wide"><table>{_header(heads)}{rows}</table></div></section>'


def _row(f: SolvedFixture) -> str:
    state = [] if f.trusted else ["not trusted"]
    state += [] if f.verified else ["unverified"]
    state += [f"from truss {f.carried_over}"] if f.carried_over else []
    state += [f"rests on {text}" for text in f.rests_on]
    cells = [
        *(f"{v:.3f}" for v in f.position),
        " ".join(f"{100 * v:.1f}" for v in f.position_sigma),
        " ".join(f"{v:.2f}" for v in f.rotation_sigma),
        *(f"{100 * v:.1f}" if f.sound else "-" for v in (f.aim_rms, f.aim_p95, f.worst)),
        " and ".join(str(face) for face in f.faces),
    ]  # fmt: skip
    inner = "".join(f"<td>{escape(cell)}</td>" for cell in cells)
    return f'<tr><td>{escape(f.name)}</td>{inner}<td class="left">{escape("; ".join(state))}</td></tr>'


def _header(cells: Sequence[str]) -> str:
    return "<tr>" + "".join(f"<th>{escape(cell)}</th>" for cell in cells) + "</tr>"


def _residuals(calibration: Calibration) -> str:
    keys = list(dict.fromkeys(key for f in calibration.fixtures.values() for key in f.residuals))
    top = max([0.1, *(v for f in calibration.fixtures.values() for v in f.residuals.values())])
    rows = []
    for name, f in calibration.fixtures.items():
        cells = ""
        for key in keys:
            miss = f.residuals.get(key)
            if miss is None:
                cells += "<td></td>"
            else:
                cells += f'<td style="border-bottom: 3px solid {colour(miss / top)}">{100 * miss:.1f}</td>'
        rows.append(f"<tr><td>{escape(name)}</td>{cells}</tr>")
    return (
        "<section><h2>Residuals</h2><p>How far on the floor each sighting is from what the solved pose says, cm; /2 is"
        f' face 2.</p><div class="wide"><table>{_header(["fixture", *keys])}{"".join(rows)}</table></div></section>'
    )


def _marks(calibration: Calibration) -> str:
    rows = "".join(
        f"<tr><td>{escape(name)}</td>" + "".join(f"<td>{v:.3f}</td>" for v in at)
        + f"<td>{100 * calibration.mark_sigma[name]:.1f}</td></tr>"
        for name, at in calibration.marks.items()
    )  # fmt: skip
    header = _header(("mark", "x", "y", "z m", "sigma cm"))
    return f"<section><h2>Marks as solved</h2><table>{header}{rows}</table></section>"


def _how(stage: Stage) -> str:
    return (
        '<section class="soft"><h2>How to read this</h2><p>Positions are in metres from the crew\'s datum. Sigma is one'
        " standard deviation. The prediction assumes beams put on each mark within"
        f" {100 * stage.aim_sigma:.0f} cm per axis. The last word is a check walk: send every fixture to one mark and"
        " look.</p></section>"
    )
