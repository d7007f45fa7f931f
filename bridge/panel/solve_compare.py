"""Two answers of the solver side by side, head by head.

An answer is the `fixtures` of `solve --json`, or what poses.yaml holds in the same shape.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from bridge.errors import TetherlightError
from bridge.show.folder import read_tree
from bridge.show.load import load
from bridge.show.problems import Bad

Fixtures = Mapping[str, Mapping[str, Any]]
ERRORS = ("rms", "p95", "worst_p95")
MOVED_CM, TURNED_DEG = 0.1, 0.01  # less is not worth a word


def of_file(show: Path) -> dict[str, Any]:
    """The heads that poses.yaml has a pose of; none where the folder cannot be read. Blocks."""
    try:
        poses = load(show, with_sightings=False).poses
        written = read_tree(show / "poses.yaml")[0].get("fixtures") if poses else None
    except (TetherlightError, Bad):
        return {}
    entries = written.plain() if written is not None else {}
    return {
        name: {
            "position": list(pose.position),
            "rotation": list(pose.rotation),
            "aim_error": {key: _number(entries.get(name, {}), key) for key in ERRORS},
            "residuals": dict(pose.residuals or {}),
            "trusted": pose.trusted,
            "verified": pose.verified,
        }
        for name, pose in poses.items()
    }


def _number(entry: Mapping[str, Any], key: str) -> float | None:
    told = entry.get("aim_error")
    value = told.get(key) if isinstance(told, dict) else None
    return float(value) if isinstance(value, int | float) and math.isfinite(value) else None


def compare(before: Fixtures, after: Fixtures) -> dict[str, dict[str, Any]]:
    """What became of each head: pairs [before, after], None where there is no value; metres, but `moved_cm` and
    `turned_deg`; `text` says it."""
    return {name: _of_head(name, before.get(name), after.get(name)) for name in dict.fromkeys([*after, *before])}


def _of_head(name: str, before: Mapping[str, Any] | None, after: Mapping[str, Any] | None) -> dict[str, Any]:
    was, now = before or {}, after or {}
    out: dict[str, Any] = {key: [_error(was, key), _error(now, key)] for key in ERRORS}
    out |= {key: [was.get(key), now.get(key)] for key in ("trusted", "verified")}
    out["moved_cm"] = out["turned_deg"] = None
    if before and after:
        out["moved_cm"] = round(100 * math.dist(was["position"], now["position"]), 2)
        out["turned_deg"] = round(_turn_deg(was["rotation"], now["rotation"]), 3)
    old, new = was.get("residuals", {}), now.get("residuals", {})
    out["residuals"] = {mark: [old.get(mark), new.get(mark)] for mark in dict.fromkeys([*new, *old])}
    return out | {"text": f"{name}: {_words(bool(before), bool(after), out)}"}


def _error(fixture: Mapping[str, Any], key: str) -> float | None:
    value = (fixture.get("aim_error") or {}).get(key)
    return None if value is None else float(value)


def _turn_deg(a: Sequence[float], b: Sequence[float]) -> float:
    """The angle between two rotations [x, y, z, w]; exact also where it is small."""
    ax, ay, az, aw = a
    bx, by, bz, bw = b
    x, y, z = aw * bx - bw * ax - ay * bz + az * by, aw * by - bw * ay - az * bx + ax * bz, aw * bz - bw * az
    z += -ax * by + ay * bx
    return math.degrees(2 * math.atan2(math.hypot(x, y, z), abs(ax * bx + ay * by + az * bz + aw * bw)))


def _words(before: bool, after: bool, told: Mapping[str, Any]) -> str:
    if not after:
        return "had a pose and has none now" if before else "no pose"
    known = [told[key] for key in ("worst_p95", "p95") if told[key][0] is not None]  # what older files tell as well
    was, now = known[0] if before and known else told["worst_p95"]
    said = []
    if now is None:
        said.append("nothing is predicted, something looks wrong")
    elif was is None:
        said.append(f"predicted to miss by {100 * now:.1f} cm (95 %)")
    else:
        said.append(f"predicted miss (95 %) from {100 * was:.1f} to {100 * now:.1f} cm")
    if not before:
        said.insert(0, "its first pose")
    elif told["moved_cm"] >= MOVED_CM or told["turned_deg"] >= TURNED_DEG:
        said.append(f"moved {told['moved_cm']:.1f} cm, turned {told['turned_deg']:.2f} deg")
    old, new = told["trusted"]
    if old is not new:
        said.append("now trusted" if new else "NOT trusted")
    return "; ".join(said)
