"""What the operator has set: levels, heads out or held, people aloft, trims."""

from __future__ import annotations

import numpy as np

from bridge.rig.rig import Rig


class Controls:
    """Live switches over N heads. `trim` is metres on the floor, kept until 0 0; after changing a trim or a still
    switch call `refresh`: `still` (N,) bool and `shift` (N, 2) metres are what trusses and heads were told together.
    """

    def __init__(self, rig: Rig, follows: np.ndarray) -> None:
        count = len(rig)
        self._trusses = [fixture.truss or "" for fixture in rig.fixtures]
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
        self.refresh()

    def refresh(self) -> None:
        """Gather what trusses and heads were told into arrays; called on a change, so that a frame need not."""
        by_truss = np.array([truss in self.still_trusses for truss in self._trusses], dtype=bool)
        self.still = self.still_heads | by_truss | self.still_all
        shifts = [self.truss_trim.get(truss, (0.0, 0.0)) for truss in self._trusses]
        self.shift = self.trim + np.array(shifts).reshape(-1, 2)

    @property
    def any_still(self) -> bool:
        """Whether anything at all is still."""
        return self.still_all or bool(self.still_trusses) or bool(self.still_heads.any())
