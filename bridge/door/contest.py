"""Who else sends on our universes, and what follows from it: refused, overruled, or only told."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from bridge.door.events import Heard, OtherSource
from bridge.door.news import News
from bridge.follow.keeping import Data, mapping_in
from bridge.wire.e131 import MAX_PRIORITY
from bridge.wire.settings import SacnSettings

FORGET_S = 10.0
"""A source that was silent for so long is told again when it comes back."""
NEWCOMERS_TOLD = 8
BEFORE = OtherSource("refused before the restart", "", 0)
NOBODY = OtherSource("", "", 0)


class Contest:
    """Other sources by universe as they are heard, and the universes that are `refused` because of them."""

    def __init__(self, settings: SacnSettings, news: News) -> None:
        self._settings, self._news = settings, news
        self.refused: dict[int, tuple[OtherSource, ...]] = {}
        self._heard: dict[int, tuple[OtherSource, ...]] = {}
        self._told: dict[tuple[int, OtherSource], float] = {}  # when each source that was told was last heard
        self._overruled: set[int] = set()
        self._expected: frozenset[int] = frozenset()

    def take(self, settings: SacnSettings) -> None:
        """Other settings from now on."""
        self._settings = settings

    def expect(self, universes: Iterable[int]) -> None:
        """On these the desk sends beside us: who is below our priority there is the desk, and no stranger."""
        self._expected = frozenset(universes)

    def _strangers(self, universe: int) -> tuple[OtherSource, ...]:
        """Who is heard there, but for a desk that is expected."""
        known, ours = self._heard.get(universe, ()), self._settings.priority
        return tuple(s for s in known if s.priority >= ours) if universe in self._expected else known

    def row(self, universe: int, waiting: bool) -> tuple[int, str, str, int]:
        """Universe, what becomes of it in a word, the strongest other source's name and priority ("" and 0)."""
        top = _strongest(self._strangers(universe) or self.refused.get(universe) or (NOBODY,))
        if universe in self.refused:
            word = "refused"
        elif waiting:
            word = "waiting"
        else:
            word = "overruled" if universe in self._overruled else "sent"
        return universe, word, top.name, top.priority

    def hear(self, sources: Heard, sent: Iterable[int], now_s: float) -> None:
        """Take in who is heard now; say who is new, and where a higher priority rules or does so no more."""
        for universe, known in self._heard.items():
            self._told.update(((universe, source), now_s) for source in known)
        self._told = {key: heard_s for key, heard_s in self._told.items() if now_s - heard_s < FORGET_S}
        self._heard, sent = {u: tuple(s) for u, s in sources.items() if s}, set(sent)
        fresh: dict[OtherSource, list[int]] = {}
        for universe, known in sorted(self._heard.items()):
            told = universe in self._expected  # who is above us there is told as overruling
            for source in known:
                if universe in sent and not told and (universe, source) not in self._told:
                    fresh.setdefault(source, []).append(universe)
                self._told[universe, source] = now_s
        for source, universes in list(fresh.items())[:NEWCOMERS_TOLD]:
            text = f"{_universes(universes)} now also sent by {named(source)}"
            self._news.tell("error", f"another source {source}", text)
        if len(fresh) > NEWCOMERS_TOLD:  # made up, most likely: they must not fill the log
            self._news.tell("error", "more sources", f"and {len(fresh) - NEWCOMERS_TOLD} more sources")
        self._judge_priorities(sent)

    def _judge_priorities(self, sent: set[int]) -> None:
        """One line for each source that rules from now on, with its universes, and one for all that are ours again."""
        ours = self._settings.priority
        top = {u: _strongest(self._heard[u]) for u in sorted(self._heard) if u in sent}
        over = {u for u, source in top.items() if source.priority >= ours + (u not in self._expected)}
        ended = sorted((self._overruled - over) & sent)
        begun: dict[tuple[OtherSource, bool], list[int]] = {}
        for universe in sorted(over - self._overruled):
            begun.setdefault((top[universe], universe in self._expected), []).append(universe)
        self._overruled = over
        for (source, expected), universes in list(begun.items())[:NEWCOMERS_TOLD]:
            why = f"above our {ours}: heads obey that source, not us"
            if source.priority == ours:
                why = f"and our priority is {ours}, too: on every slot the higher level counts"
            text = f"{_universes(universes)} sent by {named(source)} {why}" + ("; " + raise_above(source)) * expected
            self._news.tell("error", f"overruled {source} {expected}", f"OVERRULED: {text}")
        if left := [u for universes in list(begun.values())[NEWCOMERS_TOLD:] for u in universes]:
            self._news.tell("error", "overruled", f"OVERRULED: {_universes(left)} sent by others above our {ours}")
        if ended:
            text = f"{_universes(ended)} ours again: no higher priority is heard"
            self._news.tell("warning", f"ours again {ended}", text)

    def check(self, patched: Iterable[int], sent: Iterable[int], now_s: float) -> None:
        """Before the first packet, or when armed again: which universes are refused, said one by one."""
        self.refused = {}
        self.admit(patched, sent, now_s)

    def admit(self, universes: Iterable[int], sent: Iterable[int], now_s: float) -> None:
        """Before the first packet of these, beside what is sent already; what is refused so far stays so."""
        sent, universes = set(sent), set(universes)
        heard = {u: strangers for u in universes if (strangers := self._strangers(u))}
        self._told.update(((universe, source), now_s) for universe, known in heard.items() for source in known)
        refuse = self._settings.contested == "refuse"
        fresh = {u: s for u, s in heard.items() if refuse and u not in sent}
        self.refused = dict(sorted((self.refused | fresh).items()))
        ours = universes - sent - set(self.refused)  # from now on; whoever comes back there is news
        self._told = {(u, s): at_s for (u, s), at_s in self._told.items() if u not in ours or s in heard.get(u, ())}
        for universe, known in sorted(heard.items()):
            self._say(universe, " and ".join(named(source) for source in known), universe in sent)
        self._judge_priorities((universes | sent) - set(self.refused))

    def _say(self, universe: int, sources: str, sent: bool) -> None:
        if universe in self.refused:
            text = f"universe {universe} is NOT SENT: {sources} already sends there"
            if universe in self._expected:
                above = raise_above(_strongest(self.refused[universe]))
                text += f", not below our {self._settings.priority}; {above}, then /reload and /arm 1"
            else:
                text += ". End that source and send /arm 1 again, or set `sacn: contested: send` in network.yaml"
        else:
            why = "it was ours before" if sent else "`contested: send`"
            text = f"universe {universe} is also sent by {sources}; sent all the same ({why})"
        self._news.tell("error", f"contest {universe}", text)

    def why_refused(self) -> str:
        """Who is in the way on the refused universes, in words; "" where none is refused."""
        universes: dict[OtherSource, list[int]] = {}
        for universe, known in self.refused.items():
            universes.setdefault(_strongest(known), []).append(universe)
        rows = [f"{ranges(tuple(rows))}: {named(source)}" for source, rows in list(universes.items())[:NEWCOMERS_TOLD]]
        return "; ".join(rows) + ("; and more" if len(universes) > len(rows) else "")

    def what_to_do(self) -> str:
        """How the refused universes come to be sent."""
        desk = [_strongest(known) for u, known in self.refused.items() if u in self._expected]
        again = "End what sends there and send /arm 1 again"
        if len(desk) == len(self.refused) and desk:
            return f"{_sentence(raise_above(_strongest(desk)))}, then /reload and /arm 1"
        return f"{again}; beside the desk {raise_above(_strongest(desk))}" if desk else again

    def refuse_again(self, universes: Iterable[int]) -> None:
        """After a restart: what was refused before stays so."""
        self.refused = dict.fromkeys(sorted(universes), (BEFORE,))

    def forget(self) -> None:
        """The streams have ended."""
        self.refused, self._overruled = {}, set()

    def state(self) -> Data:
        """As of Transmission."""
        return {
            "refused": {str(u): [list(s) for s in sources] for u, sources in self.refused.items()},
            "heard": {str(u): [list(s) for s in sources] for u, sources in self._heard.items()},
            "told": [[universe, list(source), at_s] for (universe, source), at_s in self._told.items()],
            "overruled": sorted(self._overruled),
        }

    def restore(self, data: Any) -> None:
        """As of Transmission."""
        data = mapping_in(data)
        self.refused, self._heard = sources_from(data["refused"]), sources_from(data["heard"])
        self._told = {(int(u), OtherSource(*source)): float(at_s) for u, source, at_s in data["told"]}
        self._overruled = {int(u) for u in data["overruled"]}


def sources_from(data: Any) -> dict[int, tuple[OtherSource, ...]]:
    """Sources by universe, from the JSON data of them."""
    return {int(u): tuple(OtherSource(*source) for source in sources) for u, sources in data.items()}


def _strongest(sources: Iterable[OtherSource]) -> OtherSource:
    return max(sources, key=lambda source: source.priority)


def raise_above(source: OtherSource) -> str:
    """What helps where the desk is not below us."""
    if source.priority >= MAX_PRIORITY:
        return f"lower the desk's priority below {MAX_PRIORITY}, or give the desk a universe of its own"
    return f"raise `sacn: priority` above {source.priority} in network.yaml, or give the desk a universe of its own"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def named(source: OtherSource) -> str:
    """A source in words."""
    if not source.host:
        return source.name
    return f'"{source.name}" at {source.host} (priority {source.priority})' + (source.remark and f", {source.remark}")


def _universes(universes: list[int]) -> str:
    return f"universe {universes[0]} is" if len(universes) == 1 else f"universes {ranges(tuple(universes))} are"


def ranges(universes: tuple[int, ...]) -> str:
    """1-3, 7: short for people."""
    parts: list[list[int]] = []
    for universe in universes:
        if parts and universe == parts[-1][1] + 1:
            parts[-1][1] = universe
        else:
            parts.append([universe, universe])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in parts)
