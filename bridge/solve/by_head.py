"""What looks wrong and what to do, head by head, in sentences that stand beside the head."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bridge.geometry.stage import Stage
from bridge.solve.result import Calibration, OtherTruss, SolvedFixture, Suspect
from bridge.solve.trust import compared_with_accept
from bridge.solve.words import suspect_words


def advice_by_fixture(calibration: Calibration, names: Sequence[str], stage: Stage) -> dict[str, list[str]]:
    """Sentences about each of these heads, most urgent first; heads that nothing is to be said of are left out."""
    out: dict[str, list[str]] = {}
    for name in names:
        told = [suspect_words(s) for s in calibration.suspects if _about(s, name)]
        if name in calibration.unsolved:
            told.append(calibration.unsolved[name])
        told += [line for line in calibration.advice if line.startswith(f"{name}: ")]
        solved = calibration.fixtures.get(name)
        if solved is not None and solved.sound:
            told += _worth(solved, stage)
        if told:
            out[name] = list(dict.fromkeys(told))
    return out


def _about(s: Suspect, name: str) -> bool:
    """Whether it says something of this head by name, and not of the whole rig."""
    return name in (s.fixture, s.also) or (isinstance(s.detail, OtherTruss) and name in s.detail.heads)


def _worth(f: SolvedFixture, stage: Stage) -> list[str]:
    """Why a head that nothing looks wrong with is not trusted, or not verified."""
    out = []
    if not f.trusted:
        marks = len({key.removesuffix("/2") for key in f.residuals})
        miss = float(compared_with_accept(f.aim_rms, f.worst_p95, np.array(marks)))
        out.append(
            f"{f.name}: predicted to miss by {100 * miss:.0f} cm, more than accept ({100 * stage.accept:.0f} cm), worst"
            f" towards ({f.worst_at[0]:g}, {f.worst_at[1]:g}); sight another mark that way, or with a tighter beam"
        )
    if not f.verified:
        out.append(f"{f.name}: unverified, a mistake in one measurement could hide; another mark or a check walk tells")
    return out
