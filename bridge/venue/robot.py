"""The robot focus session: a programmer's stand-in that puts every beam on every mark and records.

It knows what a person on the stage knows: the rig's names and ranges, and where each beam is seen to land. It says
what a person would say, `/sight/...` over OSC, and learns from its own nudges how a beam answers. Pure: `tick(now_s)`
at 20 to 100 Hz, real or virtual time; all fixtures at once.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bridge.geometry.stage import Point3
from bridge.rig.fixture import Fixture
from bridge.venue.cards import Cards
from bridge.venue.hand import SEARCH, Hand

Say = Callable[..., None]  # (address, *arguments)
Eyes = Callable[[], Mapping[str, tuple[Point3 | None, float]]]  # fixture -> where its beam lands, its level
WORKING_LEVEL = 0.2


@dataclass(frozen=True)
class Progress:
    """How far the session is. `misses` are places that no nudging reached, as (fixture, mark); `unserved` heads that
    no mark can serve."""

    done: int
    total: int
    searching: int
    nudges: int
    misses: tuple[tuple[str, str], ...]
    finished: bool
    unserved: tuple[str, ...] = ()


class Robot:
    """Sights every fixture on every mark that can serve it.

    `hand_m` is how well it puts a beam on a mark, sigma per axis.
    `cards` tells raised marks from those on the floor; without it all marks lie on a floor, and serve everybody.
    """

    def __init__(
        self,
        fixtures: Sequence[Fixture],
        marks: Mapping[str, Point3],
        say: Say,
        eyes: Eyes,
        seed: int = 1,
        hand_m: float = 0.03,
        close_m: float = 0.004,
        cards: Cards | None = None,
    ) -> None:
        self._say, self._eyes, self._cards = say, eyes, cards
        self._begun = False
        self.hands = []
        for index, fixture in enumerate(fixtures):
            rng = np.random.default_rng([seed, index, 5])
            # Where this hand will leave the beam: on the mark within the error of a person's eye and hand.
            off = {name: rng.normal(size=2) * hand_m for name in marks}
            floor, raised = self._marks_for(fixture.name, marks)
            places = {name: (*(np.array(marks[name][:2]) + off[name]), marks[name][2]) for name in floor}
            places |= {name: (*off[name], 0.0) for name in raised}
            self.hands.append(Hand(fixture, places, say, close_m, frozenset(raised)))

    def _marks_for(self, fixture: str, marks: Mapping[str, Point3]) -> tuple[list[str], list[str]]:
        """Names of the floor marks and of the raised ones that serve a fixture."""
        if self._cards is None:
            return list(marks), []
        serving = [name for name in marks if self._cards.serves(fixture, name)]
        raised = [name for name in serving if name in self._cards.raised]
        return [name for name in serving if name not in raised], raised

    def tick(self, now_s: float) -> None:
        """Look once, and let every hand do its next move."""
        if not self._begun:
            self._begun = True
            for hand in self.hands:
                hand.begin(now_s, WORKING_LEVEL)
        seen = self._eyes()
        for hand in self.hands:
            where, _level = seen.get(hand.name, (None, 0.0))
            if self._cards is not None and hand.card is not None:
                where = self._cards.crossing(hand.name, hand.card)
            hand.tick(where, now_s)

    @property
    def progress(self) -> Progress:
        """How far it is."""
        return Progress(
            done=sum(hand.recorded for hand in self.hands),
            total=sum(hand.wanted for hand in self.hands),
            searching=sum(hand.phase == SEARCH for hand in self.hands),
            nudges=sum(hand.nudges for hand in self.hands),
            unserved=tuple(hand.name for hand in self.hands if hand.wanted == 0),
            misses=tuple((hand.name, mark) for hand in self.hands for mark in hand.missed),
            finished=all(hand.finished for hand in self.hands),
        )
