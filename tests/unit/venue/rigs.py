"""Small shows made in memory for the venue's tests."""

from __future__ import annotations

from pathlib import Path

from bridge.geometry.stage import Area, Floor, Mark, PerformancePolygon, Stage
from bridge.rig.fixture import Fixture, Hang
from bridge.rig.profile import Axis, Profile, ZoomTable
from bridge.show.model import Show
from bridge.wire.settings import Network, OscSettings

SPOT = Profile(
    name="test spot",
    footprint=10,
    channels={"pan": (1, 2), "tilt": (3, 4), "dimmer": (5, 6), "zoom": (7, 8), "focus": (9, 10)},
    pan=Axis(-270, 270, 180, 600),
    tilt=Axis(-135, 135, 150, 500),
    zoom=ZoomTable(((0, 40.0, 20000.0), (65535, 6.0, 400000.0))),
    focus=((3.0, 60000), (8.0, 31000), (20.0, 12000)),
    lag=0.1,
)


def stage(floors: tuple[Floor, ...] = (), no_light: tuple[Area, ...] = ()) -> Stage:
    polygon = Area("performance", ((-6, 0), (6, 0), (6, 8), (-6, 8)), (-0.5, 4.0))
    places = {"A": (-5, 1, 0), "B": (5, 1, 0), "C": (5, 7, 0), "D": (-5, 7, 0), "E": (0.5, 4, 0)}
    marks = {name: Mark(name, (float(x), float(y), float(z))) for name, (x, y, z) in places.items()}
    return Stage(PerformancePolygon(polygon), floors=floors, no_light=no_light, marks=marks)


def show(heads: int = 3, universe: int = 30200, osc_port: int = 9201, place: Stage | None = None) -> Show:
    """Heads 2 m apart on a truss 8 m up and 5 m downstage, 10 slots each."""
    fixtures = tuple(
        Fixture(
            f"foh-{i + 1}", SPOT, universe + i // 48, 1 + 10 * (i % 48), Hang(),
            at=(2.0 * i - heads + 1.0, -5.0, 8.0), truss="foh",
        )
        for i in range(heads)
    )  # fmt: skip
    network = Network(osc=OscSettings(port=osc_port))
    return Show(Path("/nowhere/test-show"), "test show", fixtures, place or stage(), network)
