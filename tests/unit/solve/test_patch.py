"""The plot against the solve: crossed pairs are named, rough plots and sound rigs accuse nobody."""

from dataclasses import replace

import numpy as np
import pytest

from bridge.solve.calibrate import calibrate
from bridge.solve.document import solve_json
from bridge.solve.words import suspect_words
from tests.unit.solve import rigs_for_solve as rigs

FIVE = rigs.FIVE


def plotted(rng, heads, scatter=0.2, at_sigma=None):
    sigma = None if at_sigma is None else (at_sigma,) * 3
    places = [tuple(h.p + scatter * rng.standard_normal(3)) for h in heads]
    return [replace(f, at=at, at_sigma=sigma) for f, at in zip(rigs.fixtures(heads), places, strict=True)]


@pytest.mark.parametrize(("marks", "at_sigma"), [(5, None), (4, None), (5, 0.3), (2, 0.3)])
def test_two_units_crossed_in_the_patch_are_named_together_and_first(marks: int, at_sigma: float | None) -> None:
    """Each fits its own sightings where the other hangs: no residual shows it."""
    for seed in range(3):
        rng = np.random.default_rng(seed)
        heads = rigs.rig(rng, 6)
        fixtures = plotted(rng, heads, at_sigma=at_sigma)
        heads[1], heads[4] = heads[4], heads[1]
        answer = calibrate(fixtures, rigs.stage(FIVE[:marks]), rigs.sight(rng, heads, FIVE[:marks]))
        first = answer.suspects[0]
        assert (first.fixture, first.also, first.kind) == ("h1", "h4", "patch")
        assert "h1 answers where h4 hangs" in suspect_words(first)
        assert solve_json(answer)["suspects"][0]["also"] == "h4"
        assert not any(answer.fixtures[n].trusted for n in ("h1", "h4") if n in answer.fixtures)
        assert all(f.trusted for n, f in answer.fixtures.items() if n not in ("h1", "h4"))


def test_units_of_two_types_are_not_said_to_be_crossed() -> None:
    rng = np.random.default_rng(1)
    heads = rigs.rig(rng, 6)
    fixtures = plotted(rng, heads)
    fixtures[1] = replace(fixtures[1], profile=replace(rigs.PROFILE, name="another"))
    heads[1], heads[4] = heads[4], heads[1]
    answer = calibrate(fixtures, rigs.stage(FIVE), rigs.sight(rng, heads, FIVE))
    assert not any(s.kind == "patch" for s in answer.suspects)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("scatter", [0.1, 1.5])
def test_a_sound_patch_is_not_doubted_however_rough_the_plot(seed: int, scatter: float) -> None:
    rng = np.random.default_rng(seed)
    heads = rigs.rig(rng, 8)
    answer = calibrate(plotted(rng, heads, scatter), rigs.stage(FIVE), rigs.sight(rng, heads, FIVE))
    assert not [s for s in answer.suspects if s.kind in ("patch", "position")]


def test_a_plot_turned_round_is_no_crossed_patch() -> None:
    """Every head is then where its opposite was drawn."""
    rng = np.random.default_rng(2)
    heads = [replace(h, p=np.array([h.p[0], 3.0, h.p[2]])) for h in rigs.rig(rng, 6)]
    fixtures = [replace(f, at=(-f.at[0], *f.at[1:])) for f in plotted(rng, heads, 0.1)]
    answer = calibrate(fixtures, rigs.stage(FIVE), rigs.sight(rng, heads, FIVE))
    assert not any(s.kind == "patch" for s in answer.suspects)


@pytest.mark.parametrize(("marks", "proven"), [(5, True), (2, False)])
def test_a_hint_far_from_the_solve_is_asked_about(marks: int, proven: bool) -> None:
    """Where the sightings prove the pose the plot is wrong, and noted; else it may be another unit."""
    rng = np.random.default_rng(3)
    heads = rigs.rig(rng, 6)
    fixtures = plotted(rng, heads, 0.1)
    fixtures[2] = replace(fixtures[2], at=tuple(heads[2].p + np.array([1.0, 4.5, 0.5])))
    answer = calibrate(fixtures, rigs.stage(FIVE[:marks]), rigs.sight(rng, heads, FIVE[:marks], hand=0.01))
    assert answer.fixtures["h2"].trusted is proven
    assert any(note.startswith("h2: metres from its place") for note in answer.notes) is proven
    named = [(s.fixture, s.kind, s.sure) for s in answer.suspects]
    assert named == ([] if proven else [("h2", "position", False)])
