"""What the operator has set: levels, heads out or held, people aloft, trims."""

from __future__ import annotations

import numpy as np

from bridge.fixtures.rig import Rig


class Controls:
    """Live switches over N heads. `still_trusses` are truss names; `trim` is metres on the floor, kept until 0 0."""

    def __init__(self, rig: Rig, follows: np.ndarray) -> None:
        count = len(rig)
        self.trusses = [fixture.truss for fixture in rig.fixtures]
        self.master = 1.0
        self.dark = False
        self.level = np.ones(count)
        self.out = np.zeros(count, dtype=bool)
        self.held = np.zeros(count, dtype=bool)
        self.follows = follows.copy()
        self.trim = np.zeros((count, 2))
        self.truss_trim: dict[str, tuple[float, float]] = {}
        self.still_all = False
        self.still_trusses: set[str] = set()
        self.still_heads = np.zeros(count, dtype=bool)

    @property
    def still(self) -> np.ndarray:
        """Heads (N,) that must neither move nor light."""
        by_truss = np.array([truss in self.still_trusses for truss in self.trusses], dtype=bool)
        return np.asarray(self.still_heads | by_truss | self.still_all)

    @property
    def any_still(self) -> bool:
        """Whether anything at all is still."""
        return self.still_all or bool(self.still_trusses) or bool(self.still_heads.any())

    @property
    def shift(self) -> np.ndarray:
        """What each head's lit point is moved by on the floor, (N, 2) metres."""
        by_truss = [self.truss_trim.get(truss or "", (0.0, 0.0)) for truss in self.trusses]
        return self.trim + np.array(by_truss).reshape(-1, 2)
