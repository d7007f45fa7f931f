"""Which slots heads get when a whole patch changes at once: each is judged beside the others as they will be."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from bridge.exchange.found import Document

SLOTS = 512
Footprint = Callable[[str], int | None]


class Claim(NamedTuple):
    """A head with the patch that it is to have, and the one that it has (None: it is new)."""

    head: Document
    before: Document | None


class _Rows:
    """Who has each slot, by universe."""

    def __init__(self, footprint: Footprint) -> None:
        self._footprint = footprint
        self._rows: dict[int, list[tuple[Document, int, int] | None]] = {}

    def put(self, head: Document, unless_taken: bool = False) -> str:
        """Give it its slots; `unless_taken`: or say why not, and give it none."""
        universe, address, slots = head.get("universe"), head.get("address"), self._footprint(str(head.get("profile")))
        if slots is None or not isinstance(universe, int) or not isinstance(address, int) or address < 1:
            return ""
        first, last = address, address + slots - 1
        row = self._rows.setdefault(universe, [None] * (SLOTS + 1))
        if unless_taken:
            if last > SLOTS:
                return f"its {slots} slots from {first} on reach past {SLOTS}"
            other = next((one for one in row[first : last + 1] if one is not None), None)
            if other is not None:
                whose = f"{other[0].get('name')}, {other[1]}-{other[2]}"
                return f"its slots {universe}/{first}-{last} overlap those of {whose}"
        stop = min(last, SLOTS) + 1
        row[first:stop] = [(head, first, last)] * max(stop - first, 0)
        return ""


def settled(claims: Sequence[Claim], footprint: Footprint) -> Mapping[int, str]:
    """Why a claim cannot be had, by its place in `claims`; what is missing can.

    A head that gets no new slots keeps the old ones, which may be those that another one asks for: so again, until all
    fit. `claims` are all heads of the rig and the new ones; who stays goes first, then who moves, then who is new.
    """
    stuck: dict[int, str] = {}
    while True:
        rows = _Rows(footprint)
        for n, (head, before) in enumerate(claims):
            if before is not None and (n in stuck or not _moves(head, before)):
                rows.put(before)
        more = {}
        for n, (head, before) in enumerate(claims):
            if before is not None and n not in stuck and _moves(head, before):
                more[n] = rows.put(head, unless_taken=True)
        more = {n: why for n, why in more.items() if why}
        if not more:
            new = {n: rows.put(head, unless_taken=True) for n, (head, before) in enumerate(claims) if before is None}
            return stuck | {n: why for n, why in new.items() if why}
        stuck |= more


def _moves(head: Document, before: Document) -> bool:
    return any(head.get(key) != before.get(key) for key in ("profile", "universe", "address"))
