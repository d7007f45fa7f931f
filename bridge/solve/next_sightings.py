"""Which sighting to make next: of each head and of all together, how much each would bring, and in words.

A head with fewer than two marks has no pose to predict from: there the marks are put in an order by their spread.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bridge.geometry.stage import Point3, Stage
from bridge.solve.arrays import Array, Rows
from bridge.solve.fit import Fit
from bridge.solve.maps import rows_of
from bridge.solve.next_marks import good_first_marks, spread_order
from bridge.solve.one_more import Candidate, candidates, sighted_already, with_one_more
from bridge.solve.result import Calibration, SolvedFixture, Suspect
from bridge.solve.words import some, suspect_words

FIRST_SHOWN = 4  # marks named to begin with
LITTLE = 0.01  # metres off the predicted error (95 %, worst place): less is not worth the time of a sighting
AS_GOOD = 0.85  # a mark that lies there already is named before a new one that would bring little more


@dataclass(frozen=True)
class Helps:
    """One more sighting at a place. `before`, `after`: predicted aim error, 95 % at the worst place, metres, None where
    nothing is predicted; of the rig the mean over its sound heads. `heads` would sight it, `most` gains most."""

    place: Candidate
    before: float | None = None
    after: float | None = None
    heads: int = 1
    most: str | None = None

    @property
    def gain(self) -> float | None:
        """Metres that it takes off."""
        return None if self.before is None or self.after is None else self.before - self.after


@dataclass(frozen=True)
class Next:
    """What to do: `say` first (fewer than two marks) | again (something is in doubt) | next | enough; best first."""

    say: str
    text: str
    helps: tuple[Helps, ...]


def next_sightings(
    names: Sequence[str], calibration: Calibration, fit: Fit, stage: Stage
) -> tuple[Next, dict[str, Next]]:
    """For the rig, and for each of its heads `names` with a pose or without."""
    places = candidates(fit, [proposal.at for proposal in calibration.next_marks])
    rows = rows_of(calibration, fit)
    before, after = with_one_more(fit, stage, rows, places)
    number = {name: row for row, name in enumerate(fit.case.names)}
    seen = {name: sighted_already(fit, number[name]) if name in number else set() for name in names}
    for i, name in enumerate(calibration.fixtures):
        after[i, [place.mark in seen[name] for place in places]] = np.nan
    solved = {name: i for i, name in enumerate(calibration.fixtures)}
    marks = {place.mark: place.at for place in places if place.mark is not None}
    heads = {}
    for name in names:
        if name not in solved:
            heads[name] = without_pose(name, seen[name], marks, stage, calibration.unsolved.get(name))
        elif calibration.fixtures[name].sound:
            begun = len(seen[name]) >= 2 or calibration.fixtures[name].carried_over is not None
            heads[name] = _sound(calibration.fixtures[name], places, before[solved[name]], after[solved[name]], begun)
        else:
            heads[name] = _doubted(name, places, after[solved[name]], calibration.suspects)
    return _of_rig(calibration, places, before, after, heads), heads


def _sound(f: SolvedFixture, places: Sequence[Candidate], before: float, after: Array, begun: bool) -> Next:
    """Of a head that nothing looks wrong with; not `begun`: one mark and its place in the plot are all that it has."""
    open_ = [c for c in np.argsort(after) if np.isfinite(after[c])]
    helps = tuple(Helps(places[c], float(before), float(after[c])) for c in open_)
    if not helps or (helps[0].gain or 0) < LITTLE:
        more = "" if f.trusted else "; what would: marks measured better, a tighter beam (aim_sigma)"
        return Next("enough", f"{f.name}: no other sighting takes off {100 * LITTLE:.0f} cm or more{more}", helps)
    told = f"{_takes(_named(helps))} of its predicted aim error at its worst place"
    if not begun:
        return Next("first", f"{f.name}: rests on its place in the plot and one mark at most; {told}", helps)
    return Next("next", f"{f.name}: {told}", helps)


def _named(helps: Sequence[Helps]) -> Helps:
    """The one to name: a mark of the stage that is about as good as the best."""
    enough = AS_GOOD * (helps[0].gain or 0.0)
    return next((each for each in helps if each.place.mark is not None and (each.gain or 0.0) >= enough), helps[0])


def _doubted(name: str, places: Sequence[Candidate], after: Array, suspects: Sequence[Suspect]) -> Next:
    """First the marks that look wrong, then those that it has not sighted; nothing is predicted."""
    own = [s for s in suspects if name in (s.fixture, s.also)]
    wrong = [mark for s in own for mark in (s.mark, s.instead) if mark is not None]
    again = [place for mark in dict.fromkeys(wrong) for place in places if place.mark == mark]
    fresh = [places[c] for c in np.argsort(after) if np.isfinite(after[c]) and places[c] not in again]
    about = own or [s for s in suspects if s.blames(name)]
    text = suspect_words(about[0]) if about else f"{name}: that it was moved would not show yet; sight another mark"
    return Next("again", text, tuple(Helps(place) for place in again + fresh))


def without_pose(
    name: str, seen: Iterable[str], marks: Mapping[str, Point3], stage: Stage, why: str | None = None
) -> Next:
    """Of a head that sighted the marks `seen` and has no pose, for the reason `why`: the others by their spread."""
    seen = sorted(seen)
    order = _by_spread(seen, marks, stage)
    if len(seen) > 1:
        return Next("again", why or f"{name}: its sightings do not fix its pose; sight another mark", order)
    told = [_where(each.place) for each in order[: FIRST_SHOWN - len(seen)]]
    if not told:
        return Next("first", f"{name}: sight two marks first, as far apart as there are, better four", order)
    rest = f"; then {', '.join(told[2 - len(seen) :])}" if len(told) > 2 - len(seen) else ""
    if seen:
        return Next("first", f"{name}: only {seen[0]} is sighted; sight {told[0]}, far from it{rest}", order)
    pair = " and ".join(told[:2])
    return Next("first", f"{name}: sight {pair} first, across the stage and far out{rest}", order)


def _by_spread(seen: Sequence[str], marks: Mapping[str, Point3], stage: Stage) -> tuple[Helps, ...]:
    """Marks that were not seen, each far from all before it; free places where there are not two marks yet."""
    places = [Candidate(name, at) for name, at in marks.items()]
    if len({*marks, *seen}) < 2:
        places += [Candidate(None, at) for at in good_first_marks(stage)]
    plan = np.array([place.at[:2] for place in places]).reshape(-1, 2)
    gap = np.linalg.norm(plan[:, None] - plan[None], axis=-1)
    chosen = [i for i, place in enumerate(places) if place.mark in seen]
    return tuple(Helps(places[i]) for i in spread_order(gap, len(places), chosen)[len(chosen) :])


def _of_rig(
    calibration: Calibration, places: Sequence[Candidate], before: Array, after: Array, heads: Mapping[str, Next]
) -> Next:
    waiting = [name for name, each in heads.items() if each.say == "first"]
    told = f"{some(waiting, 3)}: fewer than two marks; begin there. " if waiting else ""
    names = list(calibration.fixtures)
    sound: Rows = np.flatnonzero([f.sound for f in calibration.fixtures.values()])
    if not len(sound):
        return Next("again", f"{told}Nothing can be predicted: something looks wrong with every pose", ())
    was, then = before[sound], np.where(np.isfinite(after[sound]), after[sound], before[sound, None])
    helps = [
        Helps(
            place, float(np.mean(was)), float(np.mean(then[:, c])), int(np.count_nonzero(np.isfinite(after[sound, c]))),
            names[sound[int(np.argmax(was - then[:, c]))]],
        )
        for c, place in enumerate(places)
    ]  # fmt: skip
    helps = sorted((each for each in helps if each.heads), key=lambda each: -(each.gain or 0.0))
    if not helps or (helps[0].gain or 0) < LITTLE:
        text = f"{told}No other mark takes off {100 * LITTLE:.0f} cm or more"
        return Next("first" if waiting else "enough", text, tuple(helps))
    best = _named(helps)
    text = f"{told}A{_takes(best)[1:]} of the mean predicted aim error at the worst places, most for {best.most}"
    return Next("first" if waiting else "next", text, tuple(helps))


def _takes(best: Helps) -> str:
    before, after = 100 * (best.before or 0), 100 * (best.after or 0)
    return f"a sighting at {_where(best.place)} takes {before - after:.1f} cm (from {before:.1f} to {after:.1f} cm)"


def _where(place: Candidate) -> str:
    return place.mark if place.mark is not None else f"a new mark at ({place.at[0]:g}, {place.at[1]:g})"
