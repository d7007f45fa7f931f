"""`check --live SECONDS`: what was heard, as a table; see hearing.py and live_findings.py."""

from __future__ import annotations

import argparse
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

from bridge.commands.hearing import Heard, Source, hear
from bridge.commands.live_findings import Names, listened, uses
from bridge.commands.live_inputs import Inputs, input_lines
from bridge.daemon.identity import kept_cid
from bridge.daemon.interfaces import own_addresses, with_addresses
from bridge.daemon.logs import printable
from bridge.daemon.state import default_state_folder, show_folder
from bridge.show.model import Show

if TYPE_CHECKING:
    from rich.console import Console

SHORTEST_S, LONGEST_S = 2.0, 3600.0
"""A source whose levels stand sends once in 0.8 to 1 s: less than two of them would be chance."""


def seconds(text: str) -> float:
    """How long to listen, for argparse."""
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not SHORTEST_S <= value <= LONGEST_S:
        raise argparse.ArgumentTypeError(
            f"found '{text}', allowed is a number from {SHORTEST_S:g} to {LONGEST_S:g}, in seconds"
        )
    return value


def listen(show: Show, for_s: float, state: Path | None) -> tuple[Show, Heard, Names]:
    """The show with addresses, what was heard, and who we are. NetworkError where an interface cannot be used."""
    show = with_addresses(show)
    cid = kept_cid(show_folder(state or default_state_folder(), show.path))
    nodes = [host for host, _ in show.network.sacn.destinations]
    with ExitStack() as stack:
        inputs = Inputs(show, stack)
        heard = hear(listened(show), nodes, show.network.sacn.interface, for_s, inputs.read)
        heard.inputs = inputs.heard()
    return show, heard, (cid.bytes if cid else None, list(own_addresses().values()))


def print_heard(console: Console, show: Show, heard: Heard, us: Names) -> None:
    """Who sends each universe, and which nodes answer."""
    from rich.table import Table
    from rich.text import Text  # names come from the network: no markup

    console.print(f"heard in {heard.seconds:.1f} s on {', '.join(listened(show))}")
    table = Table()
    right = ("universe", "priority", "packets/s")
    for heading in ("universe", "it is", "source", "from", "priority", "of each slot", "packets/s", "remarks"):
        table.add_column(heading, justify="right" if heading in right else "left")
    for universe, use in uses(show).items():
        sources = [source for source in heard.sources if source.universe == universe]
        for source in sources:
            table.add_row(str(universe), use, *map(Text, _cells(source, us)))
        if not sources:
            table.add_row(str(universe), use, "nobody", "", "", "", "", "")
    console.print(table)
    for host in heard.nodes:
        said = "not known" if heard.why else "answers" if host in heard.answered else "no answer"
        console.print(f"node {host}: {said}", markup=False)
    for line in input_lines(heard.inputs):
        console.print(printable(line), markup=False)


def _cells(source: Source, us: Names) -> tuple[str, ...]:
    remarks = [
        *(["this bridge"] if source.cid == us[0] and source.host in us[1] else []),
        *(["preview"] if source.preview else []),
        *(["ended"] if source.ended else []),
        *([f"synchronised on {source.synchronised_on}"] if source.synchronised_on else []),
    ]
    slots = f"yes, up to {source.highest}" if source.per_address else "no"
    rate = f"{source.rate_hz:.1f}" if source.rate_hz else f"{source.levels} in all"
    return source.name, source.host, str(source.priority), slots, rate, ", ".join(remarks)
