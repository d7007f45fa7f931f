"""What to do next and what was assumed, in the words that a person reads."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from bridge.geometry.areas import Polygon
from bridge.geometry.stage import Stage
from bridge.solve.fit import Fit
from bridge.solve.judge import in_line
from bridge.solve.next_marks import good_first_marks
from bridge.solve.relabel import sighted, symmetric_orders
from bridge.solve.result import Learned, Misread, NextMark, SolvedFixture, Suspect
from bridge.solve.trust import compared_with_accept
from bridge.solve.verify import verify_advice
from bridge.solve.words import MOUNT_WORDS, some, suspect_words

WORTH = 0.002  # metres of rms that another sighting must bring to be advised
FAR_OUTSIDE = 15.0  # metres from the performance polygon at which a mark's place is asked about


def first_marks_advice(stage: Stage) -> str:
    """One sentence for a show without sightings."""
    marks = good_first_marks(stage)
    told = ", ".join(f"({x:g}, {y:g})" for x, y, _ in marks)
    return f"good places for the first marks, in this order (two are enough to begin with): {told}"


def advise(
    fit: Fit,
    stage: Stage,
    solved: Mapping[str, SolvedFixture],
    unsolved: Mapping[str, str],
    suspects: Sequence[Suspect],
    proposals: Sequence[NextMark],
    learned: Learned,
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Advice (what to do, most urgent first) and notes (what was assumed or carried over).

    What only follows from a misread survey is not told beside it, nor figures of poses that are all in doubt.
    """
    advice = [suspect_words(s) for s in suspects]
    advice += list(unsolved.values()) + _not_accepted(fit, stage, solved)
    if not any(isinstance(s.detail, Misread) for s in suspects):
        advice += _far_marks(fit, stage)
    advice += _symmetry(fit)
    advice += verify_advice(
        fit, stage, [f for f in solved.values() if not f.verified and not any(s.blames(f.name) for s in suspects)]
    )
    lined = [f.name for r, f in enumerate(fit.case.fixtures) if f.name in solved and _on_a_line(fit, r)]
    if lined:
        advice.append(
            f"the marks that {some(lined)} sighted lie on one line, so only hang.sigma holds their tilt about it:"
            " sight a mark well off that line"
        )
    three = [case.name for case, n in zip(fit.case.fixtures, fit.case.distinct_marks(), strict=True) if n == 3]
    if three and len(three) * 2 >= len(solved):
        advice.append("three marks can only tell that something is wrong, not what; five also tell which sighting")
    predicted = any(f.sound for f in solved.values())
    if predicted and proposals and proposals[0].before - proposals[0].after > WORTH:
        best = proposals[0]
        advice.append(
            f"the next mark helps most at ({best.at[0]:g}, {best.at[1]:g}): one sighting there by every fixture takes"
            f" the predicted aim error from {best.before * 100:.1f} to {best.after * 100:.1f} cm rms;"
            f" {best.fixture} needs it most"
        )
    if predicted:
        advice += _centring(fit, learned)
    else:
        learned = replace(learned, share=None)
    return tuple(dict.fromkeys(advice)), tuple(_notes(fit, stage) + _learned_notes(learned))


def _not_accepted(fit: Fit, stage: Stage, solved: Mapping[str, SolvedFixture]) -> list[str]:
    """Heads that nothing looks wrong with, but that are predicted to miss by more than is accepted."""
    marks = dict(zip(fit.case.names, fit.case.distinct_marks(), strict=True))
    missing = {
        name: float(compared_with_accept(f.aim_rms, f.worst_p95, marks[name]))
        for name, f in solved.items()
        if f.sound and not f.trusted
    }
    if not missing:
        return []
    worst = max(missing, key=missing.__getitem__)
    x, y, _ = solved[worst].worst_at
    return [
        f"not trusted: {some(list(missing))}, predicted to miss by more than accept in stage.yaml"
        f" ({100 * stage.accept:.0f} cm), {worst} by {100 * missing[worst]:.0f} cm, worst towards ({x:g}, {y:g});"
        " sight more marks, farther out, with a tighter beam, or accept more"
    ]


def _centring(fit: Fit, learned: Learned) -> list[str]:
    """What it would bring to say, or not to depend on, what the hands centred on the marks."""
    if learned.centring is None or learned.centring[0] - learned.centring[1] < WORTH:
        return []
    before, after = (f"{100 * rms:.1f}" for rms in learned.centring)
    fixed = any(f.profile.sight_fixed for f in fit.case.fixtures)
    tight = "with the slots of sight_fixed" if fixed else "with a tight beam, a cross or a closed iris"
    return [
        "nobody said what the hands centred on the marks, the lit pool or the beam's axis, which lie apart where a wide"
        " beam meets the floor obliquely: `sighted_by: pool` or `axis` in stage.yaml takes the predicted aim error"
        f" from {before} to {after} cm rms; so does sighting {tight} next time"
    ]


def _on_a_line(fit: Fit, row: int) -> bool:
    return int(fit.case.distinct_marks()[row]) >= 3 and row not in fit.carried and in_line(fit.case, fit.points, row)


def _far_marks(fit: Fit, stage: Stage) -> list[str]:
    polygon = Polygon(stage.polygon.area.corners)
    out = []
    for i in sighted(fit):
        off = float(polygon.outside_by(fit.points[i, :2]))
        if off > FAR_OUTSIDE:
            x, y = fit.points[i, :2]
            out.append(
                f"mark {fit.case.marks[i]} at ({x:.1f}, {y:.1f}) is {off:.0f} m outside the performance polygon; is its"
                " place in stage.yaml right, in metres?"
            )
    return out


def _symmetry(fit: Fit) -> list[str]:
    seen = sighted(fit)
    if len(seen) < 2 or np.any(fit.case.heads.at_weight) or np.any(np.isfinite(fit.case.hints)):
        return []
    if not symmetric_orders(fit.points[seen], tolerance=0.15):
        return []
    return [
        "the layout of the marks looks the same from the opposite side: had all been taken from there, nothing would"
        " show it; give the rough position of one fixture (`at`), or sight one mark that breaks the symmetry"
    ]


def _notes(fit: Fit, stage: Stage) -> list[str]:
    out = _unknown_beams(fit)
    for row, mount in fit.mounts.items():
        as_mounted = f"does not fit its `hang`, and fits when taken as {MOUNT_WORDS[mount]}"
        out.append(f"{fit.case.names[row]}: {as_mounted}; correct hang in rig.yaml")
    for name in fit.case.marks:
        mark = stage.marks[name]
        if mark.at is None and mark.height is None:
            out.append(f"mark {name}: no height given; taken as 0 within 0.5 m and solved")
    carried: dict[str, list[str]] = {}
    for row, truss in fit.carried.items():
        carried.setdefault(truss, []).append(fit.case.fixtures[row].name)
    for truss, names in carried.items():
        out.append(f"truss {truss}: its shape was carried over from earlier poses ({some(names)}), to 1 cm and 0.3 deg")
    return out + _let_go(fit)


def _let_go(fit: Fit) -> list[str]:
    """Heads that their truss did not place but their own sightings did."""
    out = []
    for check in fit.checks:
        own = [fit.case.names[r] for r in check.let_go if fit.case.distinct_marks()[r] >= 2]
        if check.doubted and own:
            out.append(f"truss {check.truss.name}: not as it was; solved from their own sightings: {some(own)}")
        elif own:
            out += [
                f"{name}: no longer where it was on truss {check.truss.name}; solved from its own sightings"
                for name in own
            ]
    return out


def _unknown_beams(fit: Fit) -> list[str]:
    """Sightings that are said to be of the pool, when nobody knows how wide it was."""
    sight = fit.case.heads.sight
    blind = 0 if sight is None else int(np.count_nonzero(fit.case.used & (sight.share == 1) & (sight.half == 0)))
    if not blind:
        return []
    return [
        f"{blind} sightings of the pool (`sighted_by: pool`) have no zoom recorded, or their profile has no zoom table,"
        " so nobody knows how far the pool lay from the axis: they were taken as of the axis"
    ]


def _learned_notes(learned: Learned) -> list[str]:
    out = []
    if learned.levels is not None:
        said, seen = learned.levels
        out.append(
            f"bases hang less level than hang.sigma {said:.2g} deg says: the sightings show some {seen:.1f} deg,"
            " which was used; give hang.sigma in rig.yaml as it is"
        )
    for shared in learned.shared:
        terms = ", ".join(f"{term} {value:.3g}" for term, value in shared.terms.items())
        out.append(f"profile {shared.profile}: {shared.heads} heads sighted on both faces share {terms}")
    out += [
        f"{name}: another unit hangs there than in the earlier poses, so its pose was not carried over"
        for name in learned.exchanged
    ]
    out += [
        f"{name}: metres from its place in rig.yaml, as its sightings prove; correct `at`" for name in learned.misplaced
    ]
    if learned.share is not None:
        share, sigma = learned.share
        out.append(f"hands seem to have centred {share:.1f} +- {sigma:.1f} between the axis (0) and the pool (1)")
    words = "its base hangs further from level than hang.sigma says; its level was not used"
    return out + [f"{name}: {words}" for name in learned.loosened]
