"""What a start says: what is sent where, what is missing, and what to beware of."""

from __future__ import annotations

import ipaddress
from collections.abc import Iterable, Iterator

from bridge.show import poses_of
from bridge.show.model import Show

CAUTION = (
    "Not a safety device: heads may move and light up without warning. Keep people out of reach of them, keep eyes "
    "on the stage and a hand on the desk's blackout."
)
NAMES_SHOWN = 12


def lines(show: Show, universes: Iterable[int], armed: bool) -> Iterator[tuple[str, str]]:
    """(level, text) for the log; level is info or warning."""
    sacn, osc = show.network.sacn, show.network.osc
    to = ", ".join(f"{host}:{port}" for host, port in sacn.destinations) or f"multicast on {sacn.interface}"
    yield "info", f"{show.name}: {len(show.fixtures)} fixtures, universes {', '.join(map(str, universes))}"
    yield "info", f"sACN to {to}, priority {sacn.priority}, at most {sacn.rate:g} per second, as {sacn.source_name!r}"
    yield "info", f"OSC on {osc.host}:{osc.port}, heard from {', '.join(osc.allow)}"
    if _loopback([host for host, _ in sacn.destinations] or [sacn.interface]):
        yield (
            "warning",
            (
                "sACN GOES TO THIS MACHINE ONLY (loopback): no real fixture hears it. "
                "Set `sacn: interface` in network.yaml to the address of the lighting network's interface."
            ),
        )
    yield from doubts(show)
    yield "warning", CAUTION
    if not armed:
        yield "warning", "not armed: nothing is sent until /arm 1"


def doubts(show: Show) -> Iterator[tuple[str, str]]:
    """What a show that could be read is to be watched for."""
    for text in show.warnings:
        yield "warning", text
    yield from poses_of.words(show)
    unsolved = [fixture.name for fixture in show.fixtures if fixture.name not in show.poses]
    if unsolved:
        yield "warning", f"without a pose, they stay dark: {_some(unsolved)} (`tetherlight solve` finds poses)"
    patched = {fixture.name for fixture in show.fixtures}
    untrusted = [name for name, pose in show.poses.items() if name in patched and not pose.may_be_taken]
    if untrusted:
        yield "warning", f"poses are NOT TRUSTED, beams may be off: {_some(untrusted)} (see `tetherlight solve`)"
    accepted = [f"{n} by {p.accepted}" for n, p in show.poses.items() if n in patched and p.accepted and not p.trusted]
    if accepted:
        yield "info", f"poses that the solve does not trust are used, accepted: {_some(accepted)}"
    unverified = [name for name, pose in show.poses.items() if name in patched and pose.trusted and not pose.verified]
    if unverified:
        yield "warning", f"poses are unverified until a check walk: {_some(unverified)}"


def _loopback(hosts: Iterable[str]) -> bool:
    return all(ipaddress.ip_address(host).is_loopback for host in hosts)


def _some(names: list[str]) -> str:
    more = len(names) - NAMES_SHOWN
    return ", ".join(names[:NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")
