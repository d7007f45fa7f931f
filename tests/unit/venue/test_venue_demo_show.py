"""The demo's show and the cues that its desk plays; the cues that README.md shows."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from bridge.show.load import load
from bridge.venue.demo_show import COLOUR, CUES, demo_show, lead_targets
from bridge.venue.desk_file import load_desk
from bridge.venue.truth_file import load_truth

README = Path(__file__).resolve().parents[3] / "README.md"


@pytest.mark.parametrize(("first", "under"), [(1, [101, 102]), (63990, [63890, 63891])])
def test_the_desk_has_universes_of_its_own(tmp_path: Path, first: int, under: list[int]) -> None:
    show, truth = demo_show(tmp_path, 1, first, desk=True)
    assert show.network.desk is not None
    assert dict(show.network.desk.universes) == dict(zip((first, first + 1), under, strict=True))
    assert load_desk(CUES, show).play.universes == tuple(under)
    for kept in (truth, load_truth(tmp_path / "truth.yaml")):
        assert {head.colour for head in kept.ordered(show)} == {COLOUR}


def test_its_targets_are_led_or_not_as_told(tmp_path: Path) -> None:
    demo_show(tmp_path, 1, 1, desk=False)
    for told in (False, False, True, True):
        lead_targets(tmp_path / "show", told)
        assert [target.walk.predict for target in load(tmp_path / "show").stage.targets] == [told]


def test_alone_it_sends_white(tmp_path: Path) -> None:
    show, _ = demo_show(tmp_path, 1, 1, desk=False)
    assert show.network.desk is None
    assert all(show.fixtures[0].profile.fixed[offset] == 255 for offset in COLOUR)


def test_the_cues_change_colour_and_light_and_keep_all_heads_lit(tmp_path: Path) -> None:
    show, _ = demo_show(tmp_path, 1, 1, desk=True)
    play = load_desk(CUES, show).play
    played = np.array([play.slots(float(t)) for t in np.arange(0.0, 80.0, 0.25)])
    for fixture in show.fixtures:
        own = played[:, fixture.universe - 1, fixture.address - 1 : fixture.address + 23].astype(int)
        dimmer = (own[:, 7] * 256 + own[:, 8]) / 65535
        assert dimmer.min() == pytest.approx(0.6, abs=1e-4)
        assert dimmer.max() == 1.0
        assert {tuple(row) for row in own[:, [6, 12]]} == {(255, 255)}, "shutter and iris stay open"
        colours = own[:, [offset - 1 for offset in COLOUR]]
        assert len(np.unique(colours, axis=0)) > 20
        assert colours.max(axis=1).min() > 128, "there is light in every colour, half way too"
        assert np.abs(np.diff(colours, axis=0)).max() <= 40, "nothing jumps: a quarter of a second"


def test_the_cues_in_the_readme_are_read(tmp_path: Path) -> None:
    found = [text for text in re.findall(r"```yaml\n(.*?)```", README.read_text(), re.S) if "\ncues:" in text]
    assert len(found) == 1
    (tmp_path / "cues.yaml").write_text(found[0])
    demo_show(tmp_path, 1, 1, desk=True)
    desk = load_desk(tmp_path / "cues.yaml", load(tmp_path / "show"))
    assert (desk.name, desk.priority, desk.destinations) == ("Harbour Hall desk", 100, ())
    assert desk.play.universes == (60, 101)
