"""The engine's live state as plain JSON data, and back: what a restart goes on from.

`lasting` is what survives any restart: who is still (people aloft), with the angles that were sent then, and trims.
`whole` is what a restart straight after a crash takes up again. Data that does not fit the show (a fixture that is
gone, a number that is none) is left out, never an error: a daemon must start.
"""

from __future__ import annotations

import math
from typing import Any

from bridge.follow.engine import Engine
from bridge.follow.target import TargetState


def lasting(engine: Engine) -> dict[str, Any]:
    """What survives any restart."""
    c, names = engine.controls, engine.rig.names
    angles = engine.motors.angle.T
    return {
        "still": c.still_all,
        "still_trusses": sorted(c.still_trusses),
        "still_fixtures": [name for name, on in zip(names, c.still_heads.tolist(), strict=True) if on],
        "angles": {n: a.tolist() for n, a, on in zip(names, angles, c.still.tolist(), strict=True) if on},
        "trims": {n: t.tolist() for n, t in zip(names, c.trim, strict=True) if t.any()},
        "truss_trims": {truss: list(trim) for truss, trim in c.truss_trim.items() if any(trim)},
    }


def whole(engine: Engine, now_s: float) -> dict[str, Any]:
    """Everything that a restart within seconds goes on from; times are ages in seconds."""
    c, gates, names = engine.controls, engine.gates, engine.rig.names
    fixtures = {}
    for n, name in enumerate(names):
        fixtures[name] = {
            "angles": engine.motors.angle[:, n].tolist(),
            "level": float(c.level[n]),
            "out": bool(c.out[n]),
            "held": engine.held_point[n].tolist() if c.held[n] else None,
            "factor": float(engine.factor[n]),
            "zoom": _or_none(engine.zoom_raw[n]),
            "focus": _or_none(engine.focus_raw[n]),
            "follows": engine.target_names[c.follows[n]],
            "open": bool(gates.open[n]),
            "fade": float(gates.fade[n]),
        }
    return {
        "lasting": lasting(engine),
        "fixtures": fixtures,
        "targets": {
            target.spec.name: {**_target(target, now_s), "allowed": bool(allowed)}
            for target, allowed in zip(engine.targets, engine.allowed, strict=True)
        },
        "master": c.master,
        "dark": c.dark,
        "areas": {name: prism.on for name, prism in engine.zones.more.items()},
        "no_light": dict(zip(engine.no_light.names, engine.no_light.on.tolist(), strict=True)),
        "floors": dict(zip(engine.floors.names, engine.floors.heights, strict=True)),
    }


def restore_lasting(engine: Engine, data: Any) -> None:
    """Take up what survives any restart."""
    if not isinstance(data, dict):
        return
    c, numbers = engine.controls, {name: n for n, name in enumerate(engine.rig.names)}
    c.still_all = data.get("still") is True
    known = {fixture.truss for fixture in engine.rig.fixtures}
    c.still_trusses = {truss for truss in _list(data.get("still_trusses")) if truss in known}
    for name in _list(data.get("still_fixtures")):
        if name in numbers:
            c.still_heads[numbers[name]] = True
    for name, trim in _dict(data.get("trims")).items():
        if name in numbers and (values := _numbers(trim, 2)):
            c.trim[numbers[name]] = values
    for truss, trim in _dict(data.get("truss_trims")).items():
        if truss in known and (values := _numbers(trim, 2)):
            c.truss_trim[truss] = (values[0], values[1])
    _put_angles(engine, _dict(data.get("angles")))
    c.refresh()


def restore_whole(engine: Engine, data: Any, now_s: float) -> None:
    """Go on as it was; `restore_lasting` is part of it."""
    if not isinstance(data, dict):
        return
    fixtures = {n: f for n, f in _dict(data.get("fixtures")).items() if isinstance(f, dict)}
    _put_angles(engine, {name: entry.get("angles") for name, entry in fixtures.items()})
    restore_lasting(engine, data.get("lasting"))
    for n, name in enumerate(engine.rig.names):
        if name in fixtures:
            _restore_fixture(engine, n, fixtures[name])
    for number, target in enumerate(engine.targets):
        entry = _dict(_dict(data.get("targets")).get(target.spec.name))
        _restore_target(target, entry, now_s)
        engine.allowed[number] = entry.get("allowed") is True
    engine.controls.master = _number(data.get("master"), 1.0)
    engine.controls.dark = data.get("dark") is True
    _restore_place(engine, data)


def _put_angles(engine: Engine, angles: dict[str, Any]) -> None:
    placed = engine.motors.angle.copy()
    for n, name in enumerate(engine.rig.names):
        if values := _numbers(angles.get(name), 2):
            placed[:, n] = values
    engine.motors.put(placed)


def _restore_fixture(engine: Engine, n: int, entry: dict[str, Any]) -> None:
    c, gates = engine.controls, engine.gates
    c.level[n] = min(max(_number(entry.get("level"), 1.0), 0.0), 1.0)
    c.out[n] = entry.get("out") is True
    engine.factor[n] = _number(entry.get("factor"), 1.0)
    engine.zoom_raw[n] = _number(entry.get("zoom"), math.nan)
    engine.focus_raw[n] = _number(entry.get("focus"), math.nan)
    if entry.get("follows") in engine.target_names:
        c.follows[n] = engine.target_names.index(entry["follows"])
    if held := _numbers(entry.get("held"), 3):
        c.held[n], engine.held_point[n] = True, held
    gates.open[n] = entry.get("open") is True
    gates.fade[n] = min(max(_number(entry.get("fade"), 0.0), 0.0), 1.0)
    engine.jumps.settled[n] = gates.open[n]
    engine.placed()


def _target(target: TargetState, now_s: float) -> dict[str, Any]:
    return {
        "place": list(target.place),
        "z": target.z_m,
        "height": target.height,
        "size": target.size,
        "has_input": target.has_input,
        "sender": target.sender,
        "age": now_s - target.heard_s if math.isfinite(target.heard_s) else None,
    }


def _restore_target(target: TargetState, entry: dict[str, Any], now_s: float) -> None:
    if place := _numbers(entry.get("place"), 2):
        target.place = (place[0], place[1])
    target.z_m = _number(entry["z"], 0.0) if isinstance(entry.get("z"), (int, float)) else None
    target.height = _number(entry.get("height"), target.height)
    target.size = max(_number(entry.get("size"), target.size), 0.05)
    target.has_input = entry.get("has_input") is True
    sender, age = entry.get("sender"), entry.get("age")
    if isinstance(sender, str) and isinstance(age, (int, float)) and math.isfinite(age):
        target.sender, target.heard_s = sender, now_s - age


def _restore_place(engine: Engine, data: dict[str, Any]) -> None:
    for name, on in _dict(data.get("areas")).items():
        if name in engine.zones.more:
            engine.zones.more[name].on = on is True
    for name, on in _dict(data.get("no_light")).items():
        if name in engine.no_light.names:
            engine.no_light.on[engine.no_light.names.index(name)] = on is True
    for name, height in _dict(data.get("floors")).items():
        if name in engine.floors.names:
            engine.floors.set_height(name, _number(height, 0.0))


def _is_number(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def _or_none(value: float) -> float | None:
    return None if math.isnan(value) else float(value)


def _number(value: Any, default: float) -> float:
    return float(value) if _is_number(value) else default


def _numbers(value: Any, count: int) -> list[float] | None:
    fits = isinstance(value, list) and len(value) == count and all(map(_is_number, value))
    return [float(v) for v in value] if fits else None


def _list(value: Any) -> list[str]:
    return [item for item in value if isinstance(item, str)] if isinstance(value, list) else []


def _dict(value: Any) -> dict[str, Any]:
    return value if isinstance(value, dict) else {}
