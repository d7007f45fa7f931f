"""The demo's show in a folder of its own: the made-up rig on free ports, how it really hangs, and a desk beside it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from bridge.show.load import load
from bridge.show.model import Show
from bridge.venue.bridge_process import DEMO_SHOW, copy_show
from bridge.venue.desk_file import load_desk
from bridge.venue.desk_sender import DeskSender
from bridge.venue.invent import invent
from bridge.venue.simulation import LIT, Venue
from bridge.venue.truth import Truth
from bridge.venue.truth_file import write_truth
from bridge.wire.e131 import MAX_UNIVERSE

CUES = DEMO_SHOW / "desk.yaml"
COLOUR = (21, 22, 23)  # red, green and blue of spot-colour, the profile of its heads
LED, NOT_LED = "source: osc}", "source: osc, motion: {predict: off}}"  # of its targets in stage.yaml
DESK_FURTHER = 100  # from our universes to the desk's


def demo_show(folder: Path, seed: int, first_universe: int, desk: bool) -> tuple[Show, Truth]:
    """The show in `folder`/show and its truth in `folder`/truth.yaml; with a desk its frames lie under ours."""
    path = folder / "show"
    copy_show(DEMO_SHOW, path, first_universe)
    if desk:
        _beside_a_desk(path)
    show = load(path)
    made = invent(show, seed)
    truth = replace(made, fixtures={name: replace(head, colour=COLOUR) for name, head in made.fixtures.items()})
    write_truth(truth, folder / "truth.yaml")
    return show, truth


def _beside_a_desk(path: Path) -> None:
    """Add to network.yaml which universe of the desk's lies under each of ours."""
    ours = sorted({fixture.universe for fixture in load(path).fixtures})
    step = DESK_FURTHER if ours[-1] + DESK_FURTHER <= MAX_UNIVERSE else -DESK_FURTHER
    pairs = ", ".join(f"{universe}: {universe + step}" for universe in ours)
    with (path / "network.yaml").open("a", encoding="utf-8") as file:
        file.write(f"desk: {{way: overlay, universes: {{{pairs}}}, dimmer: multiply}}\n")


def lead_targets(path: Path, on: bool) -> None:
    """Let the demo's stage.yaml say whether heads are led; counts from the next `/reload`."""
    file = path / "stage.yaml"
    text = file.read_text(encoding="utf-8")
    plain = text.replace(NOT_LED, LED)
    file.write_text(plain if on else plain.replace(LED, NOT_LED), encoding="utf-8")


class DemoDesk:
    """Plays the demo's cues beside the bridge and watches whether its colour and its fades arrive on the heads."""

    def __init__(self, show: Show, venue: Venue) -> None:
        """NetworkError where it cannot send. `show` must have a desk."""
        self.sender = DeskSender(load_desk(CUES, show), show.network.sacn.interface)
        assert show.network.desk is not None
        under, row_of = show.network.desk.universes, self.sender.desk.play.universes.index
        self._rows = np.array([row_of(under[fixture.universe]) for fixture in show.fixtures])
        self._colour = np.array([[fixture.address - 2 + offset for offset in COLOUR] for fixture in show.fixtures])
        dimmers = [(fixture.address, fixture.profile.channels["dimmer"]) for fixture in show.fixtures]
        self._dimmer = np.array([[address - 2 + offset for offset in offsets] for address, offsets in dimmers])
        self._venue = venue
        self._colour_off: list[float] = []
        self._light_off: list[float] = []
        self._light: list[float] = []

    def observe(self, standing: bool) -> None:
        """Compare the lit heads with what the desk plays now; their light only while nothing of ours dims it."""
        state = self._venue.heads.state()
        lit = state.level > LIT
        if not lit.any():
            return
        slots = self.sender.now()
        wanted = slots[self._rows[:, None], self._colour] / 255
        self._colour_off.append(float(np.abs(state.colour - wanted)[lit].max()))
        if standing:
            coarse, fine = slots[self._rows[:, None], self._dimmer].T.astype(np.float64)
            self._light_off.append(float(np.abs(state.level - (256 * coarse + fine) / 65535)[lit].max()))
            self._light += [float(state.level[lit].min()), float(state.level[lit].max())]

    def summary(self) -> dict[str, Any]:
        """Who sent how much. `colour_off`: the share of red, green or blue by which the worst lit head was off, at
        most, in 95 of 100 looks; `light_off`, `light`: the same of the light, and its lowest and highest, while a
        performer stood.
        """
        found: dict[str, Any] = self.sender.summary()
        if self._light:
            found["colour_off"] = round(float(np.percentile(self._colour_off, 95)), 3)
            found["light_off"] = round(float(np.percentile(self._light_off, 95)), 3)
            found["light"] = [round(min(self._light), 3), round(max(self._light), 3)]
        return found
