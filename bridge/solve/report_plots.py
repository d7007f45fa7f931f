"""Drawings of the report as inline SVG text. Metres in, y upstage drawn upwards; colours come from the page's CSS."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

import numpy as np

from bridge.geometry.stage import Stage
from bridge.solve.arrays import Array
from bridge.solve.result import Calibration

WIDTH = 640.0
CROWD = 1.2  # metres within which names share one label
# lightness falls and hue turns steadily, so that the map reads without colour as well
STOPS = np.array([[68, 1, 84], [59, 82, 139], [33, 145, 140], [94, 201, 98], [253, 231, 37]], dtype=float)


class Sheet:
    """One drawing: maps metres to picture units and gathers shapes."""

    def __init__(self, low: Array, high: Array, label: str, width: float = WIDTH) -> None:
        pad = 0.06 * max(high - low) + 0.5
        self._low, self._high = low - pad, high + pad
        self._scale = width / (self._high[0] - self._low[0])
        self.width, self.height = width, self._scale * (self._high[1] - self._low[1])
        self._label, self.shapes = label, [""]

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Picture place of a point in metres."""
        return (x - self._low[0]) * self._scale, (self._high[1] - y) * self._scale

    def polygon(self, corners: Sequence[tuple[float, float]], kind: str) -> None:
        """A closed outline."""
        points = " ".join("{:.1f},{:.1f}".format(*self.at(*corner)) for corner in corners)
        self.shapes.append(f'<polygon class="{kind}" points="{points}"/>')

    def line(self, a: tuple[float, float], b: tuple[float, float], kind: str) -> None:
        """A straight line."""
        (x1, y1), (x2, y2) = self.at(*a), self.at(*b)
        self.shapes.append(f'<line class="{kind}" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>')

    def clip(self, corners: Sequence[tuple[float, float]]) -> None:
        """Cut all shapes so far to an outline; the name must be the drawing's own, for a page has many."""
        points = " ".join("{:.1f},{:.1f}".format(*self.at(*corner)) for corner in corners)
        name = "cut-" + "".join(c if c.isalnum() else f"-{ord(c)}-" for c in self._label)
        self.shapes = [
            f'<clipPath id="{name}"><polygon points="{points}"/></clipPath><g clip-path="url(#{name})">',
            *self.shapes,
            "</g>",
        ]

    def cell(self, x: float, y: float, w: float, h: float, fill: str, title: str) -> None:
        """A filled rectangle round a point, with what the pointer shows."""
        cx, cy = self.at(x, y)
        w, h = w * self._scale, h * self._scale
        self.shapes.append(
            f'<rect x="{cx - w / 2:.1f}" y="{cy - h / 2:.1f}" width="{w + 0.5:.1f}" height="{h + 0.5:.1f}"'
            f' fill="{fill}"><title>{escape(title)}</title></rect>'
        )

    def label(self, x: float, y: float, text: str) -> None:
        """A name above a point."""
        cx, cy = self.at(x, y)
        anchor = "start" if cx < 60 else "end" if cx > self.width - 60 else "middle"
        self.shapes.append(
            f'<text class="head" x="{cx:.1f}" y="{cy - 9:.1f}" text-anchor="{anchor}">{escape(text)}</text>'
        )

    def dot(self, x: float, y: float, kind: str, name: str = "", radius: float = 4.0, below: bool = False) -> None:
        """A point with its name."""
        cx, cy = self.at(x, y)
        self.shapes.append(f'<circle class="{kind}" cx="{cx:.1f}" cy="{cy:.1f}" r="{radius:g}"/>')
        if name:
            dy = 14.0 if below else -7.0
            self.shapes.append(
                f'<text class="{kind}" x="{cx:.1f}" y="{cy + dy:.1f}" text-anchor="middle">{escape(name)}</text>'
            )

    def cross(self, x: float, y: float, name: str) -> None:
        """A mark on the floor."""
        cx, cy = self.at(x, y)
        self.shapes.append(
            f'<path class="mark" d="M{cx - 5:.1f} {cy - 5:.1f}l10 10M{cx - 5:.1f} {cy + 5:.1f}l10 -10"/>'
            f'<text class="mark" x="{cx + 8:.1f}" y="{cy + 4:.1f}">{escape(name)}</text>'
        )

    def svg(self) -> str:
        """The drawing."""
        return (
            f'<svg viewBox="0 0 {self.width:.0f} {self.height:.0f}" role="img" aria-label="{escape(self._label)}">'
            + "".join(self.shapes)
            + "</svg>"
        )


def colour(share: float) -> str:
    """A colour of the scale, share 0..1."""
    at = float(np.clip(share, 0, 1)) * (len(STOPS) - 1)
    i = min(int(at), len(STOPS) - 2)
    r, g, b = STOPS[i] + (at - i) * (STOPS[i + 1] - STOPS[i])
    return f"rgb({r:.0f},{g:.0f},{b:.0f})"


def plan(stage: Stage, calibration: Calibration) -> str:
    """The rig from above: polygon, no-light areas, marks, fixtures."""
    return _view(stage, calibration, (0, 1), "plan: x to the right as the audience sees it, y upstage")


def section(stage: Stage, calibration: Calibration) -> str:
    """The rig from the side: y upstage to the right, z up."""
    return _view(stage, calibration, (1, 2), "section: y upstage to the right, z up")


def _view(stage: Stage, calibration: Calibration, axes: tuple[int, int], label: str) -> str:
    u, v = axes
    heads = {name: np.array(f.position) for name, f in calibration.fixtures.items()}
    marks = {name: np.array(at) for name, at in calibration.marks.items()}
    corners = [np.array([x, y, 0.0]) for x, y in stage.polygon.area.corners]
    everything = np.array([*heads.values(), *marks.values(), *corners, np.zeros(3)])[:, [u, v]]
    sheet = Sheet(everything.min(axis=0), everything.max(axis=0), label)
    if v == 1:
        sheet.polygon(stage.polygon.area.corners, "stage")
        for area in stage.no_light:
            sheet.polygon(area.corners, "no-light")
    else:
        low, high = min(c[1] for c in corners), max(c[1] for c in corners)
        sheet.line((low, 0.0), (high, 0.0), "floor")
        for floor in stage.floors:
            ys = [y for _, y in floor.corners]
            sheet.line((min(ys), floor.height), (max(ys), floor.height), "floor")
    for name, at in marks.items():
        sheet.cross(at[u], at[v], name)
    for name, at in heads.items():
        sheet.dot(at[u], at[v], "head" if calibration.fixtures[name].trusted else "doubted")
    for names, at in _clusters({name: at[[u, v]] for name, at in heads.items()}):
        sheet.label(at[0], at[1], names[0] if len(names) == 1 else f"{names[0]} .. {names[-1]} ({len(names)})")
    if v == 1 and calibration.next_marks:
        x, y, _ = calibration.next_marks[0].at
        sheet.dot(x, y, "next", "next mark", 5.0, below=True)
    return sheet.svg()


def _clusters(places: Mapping[str, Array]) -> list[tuple[list[str], Array]]:
    """Names that would be drawn over each other, together, at the highest of their places."""
    groups: list[tuple[list[str], list[Array]]] = []
    for name, at in places.items():
        near = next((g for g in groups if min(float(np.linalg.norm(at - o)) for o in g[1]) < CROWD), None)
        if near is None:
            groups.append(([name], [at]))
        else:
            near[0].append(name)
            near[1].append(at)
    return [(names, np.array([np.mean(np.array(at)[:, 0]), np.max(np.array(at)[:, 1])])) for names, at in groups]


def error_map(stage: Stage, points: Array, miss: Array, top: float, label: str, width: float = WIDTH) -> str:
    """Predicted rms miss (P,) in metres over the polygon; both heights of a place are taken together."""
    places: dict[tuple[float, float], list[float]] = {}
    for (x, y, _), m in zip(points, miss, strict=True):
        places.setdefault((round(float(x), 3), round(float(y), 3)), []).append(float(m) ** 2)
    xs, ys = sorted({x for x, _ in places}), sorted({y for _, y in places})
    w = (xs[-1] - xs[0]) / max(len(xs) - 1, 1) or 1.0
    h = (ys[-1] - ys[0]) / max(len(ys) - 1, 1) or 1.0
    sheet = Sheet(np.array([xs[0], ys[0]]), np.array([xs[-1], ys[-1]]), label, width)
    for (x, y), squares in places.items():
        value = float(np.sqrt(np.mean(squares)))
        sheet.cell(x, y, w, h, colour(value / top), f"({x:g}, {y:g}): {value * 100:.1f} cm")
    sheet.clip(stage.polygon.area.corners)
    sheet.polygon(stage.polygon.area.corners, "stage")
    return sheet.svg()


def scale_bar(top: float) -> str:
    """The scale of the maps, 0 to `top` metres."""
    cells = "".join(
        f'<rect x="{i * 12}" y="0" width="12.5" height="12" fill="{colour((i + 0.5) / 20)}"/>' for i in range(20)
    )
    return (
        f'<svg class="bar" viewBox="0 0 300 30" role="img" aria-label="scale">{cells}'
        f'<text x="0" y="26">0</text><text x="240" y="26" text-anchor="end">{top * 100:.1f} cm rms</text></svg>'
    )


def top_of(values: Mapping[str, Array]) -> float:
    """End of the colour scale: the largest value, so that nothing is cut off."""
    return max([1e-3, *(float(np.max(v)) for v in values.values())])
