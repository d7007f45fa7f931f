"""What `check` looks for: one short function per question, each yielding findings in words a crew can act on."""

from __future__ import annotations

import socket
from collections import Counter
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from bridge.commands.panel_findings import about_the_panel
from bridge.daemon.interfaces import with_addresses
from bridge.errors import NetworkError
from bridge.follow.coverage import Coverage
from bridge.follow.engine import Engine
from bridge.show import plot, poses_of
from bridge.show.model import Show
from bridge.wire.settings import Network

NEAR_STOP_DEG = 3.0
USUAL_RATE_HZ = 44.0


class Finding(NamedTuple):
    """`level` is error, warning or note."""

    level: str
    where: str
    what: str


def split(line: str, level: str) -> Finding:
    """A finding from `file:line: text`."""
    parts = line.split(": ", 1)
    return Finding(level, parts[0] if len(parts) == 2 else "", parts[-1])


def all_findings(show: Show, engine: Engine, coverage: Coverage) -> list[Finding]:
    """Everything there is to say about a show that could be loaded.

    Heads of the engine without a pose in the show have one by the plot; what is found of them is marked so.
    """
    found = [split(line, "warning") for line in show.warnings]
    for about_show in (_poses, _sightings, _fixed_channels, _light, _network, _standing_still, _heights):
        found.extend(about_show(show))
    found.extend(_off_the_plot(show))
    by_pose = [*_faces(engine), *_reach(engine, coverage)]
    return found + [f if f.where in show.poses else f._replace(what=f"by the plot, {f.what}") for f in by_pose]


def _poses(show: Show) -> Iterator[Finding]:
    for level, text in poses_of.words(show):
        yield Finding("note" if level == "info" else level, "poses.yaml", text)
    missing = [fixture.name for fixture in show.fixtures if fixture.name not in show.poses]
    if missing:
        yield Finding("warning", "poses.yaml", f"without a pose, so dark: {names_of(missing)}; sight and solve them")
    untrusted = [name for name, pose in show.poses.items() if not pose.may_be_taken]
    if untrusted:
        yield Finding("warning", "poses.yaml", f"not trusted by the solve: {names_of(untrusted)}; see `solve` for why")
    accepted = [f"{name} by {pose.accepted}" for name, pose in show.poses.items() if pose.accepted and not pose.trusted]
    if accepted:
        yield Finding("note", "poses.yaml", f"not trusted by the solve, but accepted: {names_of(accepted)}")
    unverified = [name for name, pose in show.poses.items() if pose.trusted and not pose.verified]
    if unverified:
        yield Finding("note", "poses.yaml", f"unverified until a check walk confirms them: {names_of(unverified)}")


def _off_the_plot(show: Show) -> Iterator[Finding]:
    """Of poses in use: what is wrong with one that is not trusted, `solve` says better."""
    places = {name: pose.position for name, pose in show.poses.items() if pose.trusted}
    for name, text in plot.off_the_plot(show.fixtures, places).items():
        yield Finding("warning", name, text)


def _sightings(show: Show) -> Iterator[Finding]:
    counts = {fixture.name: 0 for fixture in show.fixtures}
    for sighting in show.sightings:
        counts[sighting.fixture] += 1
    few = [name for name, count in counts.items() if count == 1]
    if few:
        yield Finding("warning", "sightings.yaml", f"one sighting only, two marks are needed: {names_of(few)}")


def _fixed_channels(show: Show) -> Iterator[Finding]:
    desk = show.network.desk
    under = desk.under({fixture.universe for fixture in show.fixtures}) if desk else {}
    alone = {fixture.profile.name for fixture in show.fixtures if fixture.universe not in under}
    for profile in {fixture.profile.name: fixture.profile for fixture in show.fixtures}.values():
        used = {offset for offsets in profile.channels.values() for offset in offsets} | set(profile.fixed)
        unlisted = [str(offset) for offset in range(1, profile.footprint + 1) if offset not in used]
        if profile.name not in alone:
            unlisted = []  # the desk has what is not ours
        if unlisted and not profile.fixed:
            text = f"channels {', '.join(unlisted)} are sent as 0 and nothing is fixed; is the shutter among them?"
            yield Finding("warning", f"profile {profile.name}", text)
        elif unlisted:
            yield Finding("note", f"profile {profile.name}", f"channels {', '.join(unlisted)} are sent as 0")
        if profile.zoom is None:
            text = "no zoom table, so its beam counts as a line where no-light areas are kept dark"
            yield Finding("warning" if show.stage.no_light else "note", f"profile {profile.name}", text)


def _light(show: Show) -> Iterator[Finding]:
    stage = show.stage
    unknown: dict[str, list[str]] = {}
    for fixture in show.fixtures:
        rows = fixture.zoom_table or (fixture.profile.zoom.rows if fixture.profile.zoom else ((0.0, 0.0, None),))
        if any(candela is None for _, _, candela in rows):
            unknown.setdefault(fixture.profile.name, []).append(fixture.name)
    for name, heads in unknown.items():
        if stage.evenness:
            text = f"no candela in the zoom table: left out of evenness are {names_of(heads)}"
            yield Finding("warning", f"profile {name}", text)
        if stage.at_most_lux is not None:
            text = (
                f"the ceiling of {stage.at_most_lux:g} lux CANNOT BE KEPT for {names_of(heads)}: they count as nothing"
            )
            yield Finding("warning", f"profile {name}", f"no candela in the zoom table: {text}")
    if stage.evenness:
        yield from _alone(show)


def _alone(show: Show) -> Iterator[Finding]:
    """Heads whose group of evenness has no other: nothing to be even with."""
    groups = Counter(fixture.evenness or fixture.profile.name for fixture in show.fixtures)
    for fixture in show.fixtures:
        if fixture.evenness and groups[fixture.evenness] == 1:
            text = f"alone in its group of evenness, {fixture.evenness}; a slip of the pen?"
            yield Finding("note", fixture.name, text)


def _heights(show: Show) -> Iterator[Finding]:
    low, high = show.stage.polygon.area.height
    for target in show.stage.targets:
        for name, floor in [("the stage", 0.0), *((floor.name, floor.height) for floor in show.stage.floors)]:
            if not low <= floor + target.height <= high:
                lit_at = floor + target.height
                text = f"on {name} it is lit at {lit_at:.2f} m, outside the polygon's height {low:g}..{high:g}"
                yield Finding("warning", f"target {target.name}", text)


def _network(show: Show) -> Iterator[Finding]:
    try:
        network = with_addresses(show).network
    except NetworkError as error:
        yield Finding("error", "network.yaml", str(error).removeprefix("network.yaml: "))
        network = show.network
    else:
        yield from _addresses(network)
    for level, text in about_the_panel(network):
        yield Finding(level, "network.yaml", text)
    sacn = network.sacn
    if sacn.rate > USUAL_RATE_HZ:
        text = f"rate {sacn.rate:g} is above the {USUAL_RATE_HZ:g} Hz of DMX512 (E1.11)"
        yield Finding("warning", "network.yaml", text)
    if network.desk is None:
        text = "slots that no fixture owns are sent as 0: share no patched universe with a desk, or see `desk:`"
        yield Finding("note", "network.yaml", text)


def _standing_still(show: Show) -> Iterator[Finding]:
    """Many trackers and tablets send nothing while nothing moves (common practice, no source)."""
    lost = show.network.lost_input
    if lost.then == "dark":
        name = show.stage.targets[0].name
        text = (
            f"lost_input: after {lost.after:g} s without a message the light fades: a device that sends only changes "
            f"loses a performer who stands still; have it send /target/{name}/alive every second, or say `then: hold`"
        )
        yield Finding("note", "network.yaml", text)


def _addresses(network: Network) -> Iterator[Finding]:
    sacn, osc = network.sacn, network.osc
    if sacn.interface.startswith("127.") and all(host.startswith("127.") for host, _ in sacn.destinations):
        yield Finding("warning", "network.yaml", "OUTPUT STAYS ON THIS MACHINE: the sacn interface is loopback")
    if not can_bind(sacn.interface, 0):
        text = f"no interface of this machine has the address {sacn.interface}; `ip address` lists them"
        yield Finding("error", "network.yaml", text)
    if not can_bind(osc.host, osc.port):
        text = f"OSC port {osc.host}:{osc.port} cannot be opened here; is a bridge running already?"
        yield Finding("warning", "network.yaml", text)


def _faces(engine: Engine) -> Iterator[Finding]:
    home = engine.reach.home
    for n in np.flatnonzero(engine.rig.has_pose):
        if home.winds[n]:
            text = "hangs over the polygon: a target under it may need a pan spin; hang it outside"
            yield Finding("warning", engine.rig.names[n], text)
        elif home.coverage[n] < 1.0:
            text = f"follows {home.coverage[n]:.0%} of the polygon on one face and turn; beyond it stops or flips"
            yield Finding("warning", engine.rig.names[n], text)


def _reach(engine: Engine, coverage: Coverage) -> Iterator[Finding]:
    shares: list[tuple[np.ndarray, str, str]] = [
        (coverage.unreached, "warning", "cannot reach"),
        (coverage.too_near, "warning", "is nearer than its min_distance to"),
        (coverage.no_light, "warning", "stays dark for a no-light area at"),
        (coverage.clamped & ~coverage.unreached, "note", "is held at a soft limit, still on the target, at"),
        (coverage.zoom_missing > 0.05, "note", "cannot make its spot small enough at"),
        (coverage.zoom_missing < -0.05, "note", "cannot make its spot large enough at"),
    ]
    for n in np.flatnonzero(engine.rig.has_pose):
        for where, level, words in shares:
            share = where[:, n].mean()
            if share > 0:
                x, y = coverage.points[int(where[:, n].argmax()), :2]
                much = f"{share:.0%}" if share >= 0.01 else "under 1%"
                text = f"{words} {much} of the polygon (for one at x {x:.1f}, y {y:.1f})"
                yield Finding(level, engine.rig.names[n], text)
        left = float(np.degrees(coverage.near_stop_rad[n]))
        if 0 <= left < NEAR_STOP_DEG:
            yield Finding("note", engine.rig.names[n], f"comes within {left:.1f} degrees of a pan or tilt limit")


def can_bind(host: str, port: int) -> bool:
    """Whether a UDP socket can be opened there."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_DGRAM) as probe:
        try:
            probe.bind((host, port))
        except OSError:
            return False
    return True


def names_of(names: list[str]) -> str:
    """Names in one line, cut short where there are many."""
    shown = ", ".join(names[:8])
    return shown if len(names) <= 8 else f"{shown} and {len(names) - 8} more"
