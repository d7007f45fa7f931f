"""What leaves the engine: one look for the whole rig."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bridge.geometry.frames import Array
from bridge.rig.look import Look


@dataclass(frozen=True, kw_only=True)
class Frame(Look):
    """A look with each head's state (State numbers), face (1 or 2) and distance to what it lights (m), all (N,).

    `behind` (N,) m: by how much the light of heads passes its points that do not keep up, else 0; None: of nobody.
    """

    state: np.ndarray
    face: np.ndarray
    distance: Array
    behind: Array | None
