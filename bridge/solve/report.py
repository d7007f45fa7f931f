"""The page for the next crew."""

from __future__ import annotations

from collections.abc import Sequence

from bridge.fixtures.fixture import Fixture
from bridge.geometry.stage import Stage
from bridge.solve.result import Calibration


def report_html(name: str, fixtures: Sequence[Fixture], stage: Stage, calibration: Calibration, solved_at: str) -> str:
    """One self-contained HTML page."""
    raise NotImplementedError
