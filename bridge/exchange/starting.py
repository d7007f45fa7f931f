"""The files of a show that begins: commented YAML from a few numbers, good for `check` before anything is changed.

Places are a plan to be corrected, never a survey. Heads hang outside the performance polygon on all sides, so that none
need pass its centre tilt and flip while it follows (common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from bridge.show.emit import to_yaml

MOST_WIDTH = 200.0  # metres, of a stage either way
MOST_HEIGHT = 100.0  # metres, of a truss
MOST_TRUSSES, MOST_HEADS = 12, 96
USUAL = {"width": 12.0, "depth": 8.0, "trusses": 3, "heads": 4, "profile": "spot-16bit"}  # a dozen spots
_SLOTS = 512
_INSET = 0.5  # metres from the edge to the outermost marks
_APART = 0.6  # metres between two heads that hang side by side, at least (common practice, no source)
_RING = 3.0  # metres between a truss and the next one behind it
_SIDES = {1: ("foh",), 2: ("foh", "back"), 3: ("foh", "left", "right"), 4: ("foh", "back", "left", "right")}
_WHERE = {"foh": "over the audience", "back": "upstage of the area", "left": "on its left", "right": "on its right"}
_YAW = {"foh": 0, "back": 180, "left": -90, "right": 90}  # degrees: pan 0 looks at the area


@dataclass(frozen=True)
class Plan:
    """What a new show is asked for. Lengths in metres; `heads` are on each truss; `footprint` is the profile's."""

    name: str
    width: float
    depth: float
    trusses: int
    heads: int
    height: float
    profile: str
    footprint: int

    @property
    def count(self) -> int:
        """All heads."""
        return self.trusses * self.heads


def usual_height(width: float, depth: float) -> float:
    """Metres at which trusses hang where nobody says: high enough that no beam meets the far marks too flat."""
    return max(8.0, math.ceil(0.6 * (max(width, depth) + 12.0)) / 2)


def universes(count: int, footprint: int) -> int:
    """How many universes so many heads fill: none straddles two."""
    return math.ceil(count / (_SLOTS // footprint))


def starting_stage(name: str, width_m: float, depth_m: float) -> str:
    """The text of a stage.yaml: a rectangle from the setting line upstage, five marks to put down, one performer."""
    half = width_m / 2
    x, y = half - min(_INSET, width_m / 8), min(_INSET, depth_m / 8)
    in_x, in_y = min(1.0, width_m / 6), min(1.0, depth_m / 6)
    marks = {
        "A": (-x, y),
        "B": (half - in_x, depth_m - y),
        "C": (x, y),
        "D": (-x, depth_m - in_y),
        "E": (0.0, depth_m / 2),
    }
    told = {"A": "near the setting line, on the audience's left", "B": "diagonally opposite: begin with these two"}
    rows = [
        f"  {mark}: {{at: {_list(*at, 0.0)}, sigma: 0.02}}" + (f"   # {told[mark]}" if mark in told else "")
        for mark, at in marks.items()
    ]
    corners = [(-half, 0.0), (half, 0.0), (half, depth_m), (-half, depth_m)]
    return _STAGE.format(
        name=_comment(name),
        size=f"{_number(width_m)} m wide and {_number(depth_m)} m deep",
        corners=", ".join(_list(*corner) for corner in corners),
        marks="\n".join(rows),
    )


def starting_network() -> str:
    """The text of a network.yaml: all of it on this machine, and in comments how to go out to the rig."""
    return _NETWORK


def starting_rig(plan: Plan) -> str:
    """The text of a rig.yaml: heads spread evenly over trusses outside the area, patched one behind the other."""
    if plan.count < 1:
        raise ValueError("a rig has at least one head")
    lines = [_RIG.format(title=to_yaml({"name": plan.name}).strip(), profile=plan.profile)]
    patch = _patch(plan.footprint)
    for truss, side, ring in _trusses(plan.trusses):
        behind = f", {ring + 1} in a row" if ring else ""
        lines.append(f"  # ---- {truss}: {_WHERE[side]}{behind}\n")
        for number, at in enumerate(_places(plan, side, ring), 1):
            universe, address = next(patch)
            lines.append(
                f"  - {{name: {truss}-{number}, profile: {plan.profile}, universe: {universe}, address: {address}, "
                f"hang: {{yaw: {_YAW[side]}}}, at: {_list(*at)}, truss: {truss}}}\n"
            )
    return "".join(lines)


def _trusses(count: int) -> Iterator[tuple[str, str, int]]:
    """(name, side, ring) of each truss: round the area first, then one more behind each."""
    for ring in range(math.ceil(count / 4)):
        for side in _SIDES[min(count - 4 * ring, 4)]:
            yield f"{side}{ring + 1}" if ring else side, side, ring


def _patch(footprint: int) -> Iterator[tuple[int, int]]:
    """(universe, address) of one head after the other; one that does not fit any more begins the next universe."""
    universe, address = 1, 1
    while True:
        if address + footprint - 1 > _SLOTS:
            universe, address = universe + 1, 1
        yield universe, address
        address += footprint


def _places(plan: Plan, side: str, ring: int) -> Iterator[tuple[float, float, float]]:
    """Where the heads of one truss hang, metres: the front one at 45 degrees from the setting line, the others near."""
    away = (max(4.0, plan.height) if side == "foh" else max(2.0, plan.height / 4)) + _RING * ring
    across = side in ("foh", "back")
    length = max(plan.width if across else plan.depth, _APART * plan.heads)
    for number in range(plan.heads):
        along = length * ((number + 0.5) / plan.heads - 0.5)
        if across:
            yield along, -away if side == "foh" else plan.depth + away, plan.height
        else:
            out = plan.width / 2 + away
            yield -out if side == "left" else out, plan.depth / 2 + along, plan.height


def _number(value: float) -> str:
    return f"{round(value, 3) + 0.0:g}" if abs(value) < 1000 else f"{value:.3f}"


def _list(*values: float) -> str:
    return "[" + ", ".join(_number(value) for value in values) + "]"


def _comment(text: str) -> str:
    return "".join(char if char.isprintable() else " " for char in text[:60])


_STAGE = """\
version: 1
# {name}: the stage, {size}. Lengths are metres, or text with a unit: 320 cm, 10' 6".
# Origin: centre line on the setting line, at stage level. x to the right as the audience sees it, y upstage, z up.
# `tetherlight explain KEY` tells everything about a key; the panel edits this file on a plan (`Edit the stage`).
performance_polygon:          # where the target may be lit: change the corners to the real edge, in either sense
  corners: [{corners}]
  height: [-0.5, 4.0]         # lowest and highest place that may be lit
  margin: 0.15                # so far outside it is still lit; beyond it goes dark
  fade_out: 0.2               # seconds
  fade_in: 0.3
marks:
  # THESE PLACES ARE A PLAN: put the marks down there, or anywhere else, measure them, and write what you measured
  # (sigma: how well, in metres; a survey has 0.01). Two do for a flat stage, five for a complex one or for years
  # without a visit: delete those that you do not put down. Diagonal, as far out as performers go, in no rectangle
  # (a set begun at the wrong corner then shows), and all marks on the floor at one height.
{marks}
# tapes:                      # distances between marks that you taped: they show a wrong survey
#   - {{between: [A, B], metres: 10.02}}
targets:
  lead: {{height: 1.3, size: 2.0}}   # beam centre above the floor, diameter of the spot
# no_light:                   # where no light may fall, such as the first rows or a projector
#   - {{name: first-rows, corners: [[-6, -4], [6, -4], [6, -2], [-6, -2]], height: [0, 2]}}
# floors:                     # risers: elsewhere the floor is at 0
#   - {{name: riser, corners: [[-2, 5], [2, 5], [2, 8], [-2, 8]], height: 0.6}}
# seat: [0, -18, 2.4]         # the operator's eyes, for the picture `From my seat`
"""
_NETWORK = """\
version: 1
# Nothing leaves this machine yet: 127.0.0.1 is loopback, a safe beginning. For the rig give `sacn: interface` the name
# or the address of this machine's interface on the lighting network (eth0, 10.0.0.5; `ip address` lists them).
sacn: {interface: 127.0.0.1, to: multicast, priority: 110}
#   to: ["10.0.0.21"]         nodes by address instead of multicast
# Who may steer: tablets and desks on other machines need `listen` on that interface and their network in `allow`.
# OSC has no password: a closed lighting network only.
osc: {listen: "127.0.0.1:9000", allow: ["127.0.0.0/8"]}
#   osc: {listen: "eth0:9000", allow: ["127.0.0.0/8", "10.0.0.0/24"]}
panel: {listen: "127.0.0.1:8787"}   # the page; on another interface it asks for a key, which `run` prints
lost_input: {after: 2.0, then: hold, fade: 3.0}   # seconds without a message; then hold the light, or: dark
# A desk beside us, tracking systems, a recorder: `tetherlight explain network.yaml`.
"""
_RIG = """\
version: 1
# Change here what is not so: names, profile, universe and address as patched, `hang` (degrees; base up is roll 0,
# standing on the floor roll 180; yaw is a guess that a sighting answers), and `at`, where the pan and tilt axes meet:
# [x, y, z] in metres, a hint until `at_sigma: 0.3` beside it says how well the plot has it. More keys: `number` (what
# drawings and desks call it), `unit`, `limits`, `rest` (away from the sun); `tetherlight explain rig.yaml`.
# PROFILE of all heads: {profile}
# A first guess unless it is the very mode that they are set to: a wrong one moves and lights heads in ways that nobody
# wants. `tetherlight import` makes one from a GDTF file.
{title}
fixtures:
"""
