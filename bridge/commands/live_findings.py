"""What `check --live` says of what was heard: who sends, who does not, and whose priority wins."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import Any

from bridge.commands.desk_findings import patched
from bridge.commands.findings import Finding, names_of
from bridge.commands.hearing import Heard, Source
from bridge.commands.live_inputs import input_live_findings, inputs_as_data
from bridge.show.model import Show

Names = tuple[bytes | None, Collection[str]]
"""Our CID where there is one, and the addresses of this machine: what is ours among what is heard."""


def listened(show: Show) -> dict[str, list[int]]:
    """Universes by the address of the interface on which they are heard. The show's interfaces are addresses."""
    network, ours = show.network, patched(show)
    found: dict[str, set[int]] = {network.sacn.interface: set(ours)}
    if network.desk is not None:
        heard = network.desk.heard(ours)
        found.setdefault(network.desk.interface or network.sacn.interface, set()).update(heard)
    return {address: sorted(universes) for address, universes in found.items()}


def uses(show: Show) -> dict[int, str]:
    """What each universe is to us, in words."""
    desk, ours = show.network.desk, patched(show)
    words: dict[int, list[str]] = {universe: ["ours"] for universe in ours}
    for mine, theirs in (desk.under(ours) if desk else {}).items():
        words.setdefault(theirs, []).append("the desk's" if mine == theirs else f"the desk's, under {mine}")
    for universe in sorted({slot[0] for control in desk.controls for slot in control.slots} if desk else ()):
        words.setdefault(universe, []).append("controls")
    return {universe: ", ".join(words[universe]) for universe in sorted(words)}


def live_findings(show: Show, heard: Heard, us: Names) -> Iterator[Finding]:
    """All of it, universe by universe, then the nodes."""
    ours, desk = patched(show), show.network.desk
    under = desk.under(ours) if desk else {}
    wanted = desk.heard(ours) if desk else ()
    for universe in uses(show):
        sources = [source for source in heard.sources if source.universe == universe]
        others = [source for source in sources if source.counts and not _is_us(source, us)]
        yield from _elsewhere(universe, sources, us)
        yield from _equal(universe, others)
        if universe in wanted and not others:
            text = f"nobody sends it ({uses(show)[universe]}), {_silence(sources, us)} in {heard.seconds:.0f} s"
            yield Finding("warning", _place(universe), text)
        for source in others if universe in ours else []:
            yield from _against_us(show, source, expected=under.get(universe) == universe)
    for text in heard.deaf:
        yield Finding("note", "network.yaml", text)
    yield from _nodes(heard)
    yield from input_live_findings(heard.inputs, heard.seconds)


def _place(universe: int) -> str:
    return f"universe {universe}"


def _is_us(source: Source, us: Names) -> bool:
    return source.cid == us[0] and source.host in us[1]


def _named(source: Source) -> str:
    return f'"{source.name}" from {source.host}'


def _elsewhere(universe: int, sources: list[Source], us: Names) -> Iterator[Finding]:
    for source in sources:
        if source.cid == us[0] and source.host not in us[1]:
            text = (
                f"{_named(source)} sends under OUR identity (CID): a copied machine or state folder? Receivers take "
                "the two for one and jump; delete `cid` in the state folder of the copy"
            )
            yield Finding("error", _place(universe), text)


def _equal(universe: int, others: list[Source]) -> Iterator[Finding]:
    top = [source for source in others if source.highest == max(other.highest for other in others)]
    if len(top) > 1:
        who = names_of([_named(source) for source in top])
        text = (
            f"{len(top)} sources at the same priority {top[0].highest}: {who}; the higher level of each slot wins, "
            "which is wrong for pan and tilt: give main and backup different priorities"
        )
        yield Finding("warning", _place(universe), text)


def _silence(sources: list[Source], us: Names) -> str:
    """Why nobody counts, as far as it was heard."""
    if any(source.preview for source in sources):
        return "preview data alone, which drives nothing, was heard"
    if any(source.ended for source in sources):
        return "a source said that it has ended and nothing more was heard"
    return "only this bridge was heard" if any(_is_us(source, us) for source in sources) else "nothing was heard"


def _against_us(show: Show, source: Source, expected: bool) -> Iterator[Finding]:
    """A source on a universe of ours. `expected`: it is the desk, on the same number."""
    sacn = show.network.sacn
    where, who = _place(source.universe), f"{_named(source)} sends at priority {source.highest}"
    if source.highest >= sacn.priority:
        does = "nodes obey it, not us" if source.highest > sacn.priority else "nodes mix it with us"
        text = f"{who}, ours is {sacn.priority}: {does}; `sacn: priority` must be above {source.highest}"
        yield Finding("warning", where, text)
    elif not expected:
        refused = "arming refuses this universe" if sacn.contested == "refuse" else "nodes obey us"
        yield Finding("warning", where, f"{who} on a universe of ours, below our {sacn.priority}: {refused}")


def _nodes(heard: Heard) -> Iterator[Finding]:
    if heard.why and heard.nodes:
        yield Finding("note", "network.yaml", f"whether nodes answer is not known: {heard.why}")
        return
    for host in heard.nodes:
        if host not in heard.answered:
            why = f"could not be asked ({heard.unsent[host]})" if host in heard.unsent else "does not answer"
            text = f"{why}: ICMP echo, once a second for {heard.seconds:.0f} s; off, unplugged, or another address?"
            yield Finding("warning", f"node {host}", text)


def as_data(show: Show, heard: Heard, us: Names) -> dict[str, Any]:
    """For `--json`."""
    rows = [
        {
            "universe": source.universe,
            "use": uses(show)[source.universe],
            "source": source.name,
            "host": source.host,
            "cid": source.cid.hex(),
            "ours": _is_us(source, us),
            "priority": source.priority,
            "per_address_priority": source.per_address,
            "highest": source.highest,
            "rate_hz": round(source.rate_hz, 2),
            "synchronised_on": source.synchronised_on or None,
            "preview": source.preview,
            "ended": source.ended,
        }
        for source in heard.sources
    ]
    nodes = [{"address": host, "answers": None if heard.why else host in heard.answered} for host in heard.nodes]
    return {"seconds": round(heard.seconds, 2), "heard": rows, "nodes": nodes, "inputs": inputs_as_data(heard.inputs)}
