"""What `check` says of tracking inputs, of their frames, and of how targets are led."""

from __future__ import annotations

import ipaddress
import math
from collections.abc import Iterator

from bridge.commands.findings import Finding, can_bind, names_of
from bridge.daemon.interfaces import resolve_address
from bridge.errors import NetworkError
from bridge.geometry.input_frame import InputFrame
from bridge.geometry.stage import Target
from bridge.rig.fixture import Fixture
from bridge.show.model import Show
from bridge.wire.settings import InputSettings

NET, FRAMES = "network.yaml", "frames.yaml"
ENOUGH_MARKS = 3  # two marks give a frame, a third one can contradict it


def input_findings(show: Show) -> Iterator[Finding]:
    """All of it. A show without inputs has at most heads that are led without their lag."""
    used = {source.input for target in show.stage.targets for source in target.sources}
    for name, settings in show.network.inputs.items():
        yield from _place(show, name, settings)
        if name not in used:
            text = f"inputs: no target follows a point of {name}: it is heard and counted, and moves nothing"
            yield Finding("note", NET, text)
        if name in show.frames:
            yield from _frame(show, name, show.frames[name], settings)
    local = [name for name, settings in show.network.inputs.items() if _host(show, settings).startswith("127.")]
    if local:
        yield Finding("note", NET, f"inputs: heard from this machine alone, on its loopback: {names_of(local)}")
    for target in show.stage.targets:
        yield from _without_frames(show, target)
        yield from _aim(show, target)
    yield from _lags(show)


def _host(show: Show, settings: InputSettings) -> str:
    """Interface on which an input is heard, as written."""
    adm = settings.protocol == "adm-osc"
    return settings.host if adm else settings.interface or show.network.sacn.interface


def _place(show: Show, name: str, settings: InputSettings) -> Iterator[Finding]:
    """Where an input is heard: whether this machine can, and whether anybody is let through."""
    try:
        host = resolve_address(_host(show, settings))
    except NetworkError as error:
        yield Finding("error", NET, f"inputs: {name}: {error}")
        return
    if not can_bind(host, 0):
        text = f"inputs: {name}: no interface of this machine has the address {host}; `ip address` lists them"
        yield Finding("error", NET, text)
    elif settings.protocol == "adm-osc" and not can_bind(host, settings.port):
        text = f"inputs: {name}: UDP port {host}:{settings.port} cannot be opened here; is a bridge running already?"
        yield Finding("warning", NET, text)
    loopback = ipaddress.ip_address(host).is_loopback
    if not loopback and all(ipaddress.ip_network(allowed).is_loopback for allowed in show.network.osc.allow):
        text = (
            f"inputs: {name} is heard on {host}, but `osc: allow`, which holds for inputs too, has this machine alone: "
            "whatever its system sends is refused; add its network"
        )
        yield Finding("warning", NET, text)


def _frame(show: Show, name: str, frame: InputFrame, settings: InputSettings) -> Iterator[Finding]:
    accept, marks = show.stage.accept, list(dict.fromkeys(row.mark for row in frame.recorded))
    if not marks:
        text = f"{name}: not solved from marks, so nobody knows how far off it is: /frame/{name}/record, then solve"
        yield Finding("warning", FRAMES, text)
    elif len(marks) < ENOUGH_MARKS:
        text = f"{name}: solved from {names_of(marks)} alone, so nothing contradicts a mistake; record a third mark"
        yield Finding("note", FRAMES, text)
    worst, mark = max(_residuals(show, frame), default=(0.0, ""))
    if worst > accept:
        text = (
            f"{name}: off by {100 * worst:.0f} cm at mark {mark}, more than `accept` of stage.yaml ({accept:g} m): was "
            "a mark or the system moved, or the point on another mark? Record and solve anew"
        )
        yield Finding("warning", FRAMES, text)
    if frame.sigma > accept:
        text = f"{name}: sigma {frame.sigma:g} m is more than `accept` of stage.yaml ({accept:g} m): record more marks"
        yield Finding("warning", FRAMES, text)
    if settings.protocol == "adm-osc" and frame.scale == 1.0:
        text = f"{name}: scale 1, but places of adm-osc are shares of a room, -1 to 1, unless its sender says metres"
        yield Finding("note", FRAMES, text)


def _residuals(show: Show, frame: InputFrame) -> Iterator[tuple[float, str]]:
    """(metres in plan, mark) of what the frame was solved from; a tag held over a mark is not at its height."""
    for row in frame.recorded:
        mark = show.stage.marks.get(row.mark)
        at = (mark.at if mark else None) or show.solved_marks.get(row.mark)
        if at is not None:
            yield math.dist(frame.place(row.at)[:2], at[:2]), row.mark


def _without_frames(show: Show, target: Target) -> Iterator[Finding]:
    for name in dict.fromkeys(source.input for source in target.sources):
        if name not in show.frames and name in show.network.inputs:
            text = (
                f"{name} has no frame, so it is heard and not followed: hold its tag on marks, /frame/{name}/record "
                f"MARK POINT on each, then /frame/{name}/solve; or write its frame into frames.yaml"
            )
            yield Finding("warning", f"target {target.name}", text)


def _aim(show: Show, target: Target) -> Iterator[Finding]:
    """How far off the worst head on a target is, with the frame's own error; both are 95 % and independent."""
    heads = [fixture.name for fixture in _following(show, target)]
    errors = [error for name in heads if (pose := show.poses.get(name)) and (error := pose.aim_error_p95) is not None]
    for name in dict.fromkeys(source.input for source in target.sources):
        sigma = show.frames[name].sigma if name in show.frames else 0.0
        if not errors or not sigma:
            continue
        aim, both = max(errors), math.hypot(max(errors), sigma)
        over = both > show.stage.accept
        text = (
            f"by {name}, beams are predicted within {100 * both:.0f} cm (95 %): {100 * aim:.0f} cm of aim and "
            f"{100 * sigma:.0f} cm of frame{f', more than `accept` ({show.stage.accept:g} m)' if over else ''}"
        )
        yield Finding("warning" if over else "note", f"target {target.name}", text)


def _following(show: Show, target: Target) -> list[Fixture]:
    first = show.stage.targets[0].name
    return [fixture for fixture in show.fixtures if (fixture.follows or first) == target.name]


def _lags(show: Show) -> Iterator[Finding]:
    """Heads that are led, but nobody has said how late their light is."""
    unknown = [
        fixture.name
        for target in show.stage.targets
        if target.walk.predict
        for fixture in _following(show, target)
        if not (fixture.profile.lag if fixture.lag is None else fixture.lag)
    ]
    if unknown:
        text = f"led as if their light came at once, for `lag` is 0 or not written: {names_of(unknown)}"
        yield Finding("note", "rig.yaml", text)
