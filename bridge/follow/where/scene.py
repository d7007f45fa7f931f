"""All targets at one moment, in arrays: what the rest of a frame needs to know of them."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from bridge.follow.where.target import Guide
from bridge.geometry.frames import Array


class Legs(NamedTuple):
    """Heads that follow one target with one horizon share a leg: K targets, the horizons (K,) s, and of_head (N,)."""

    target: np.ndarray
    later_s: Array
    of_head: np.ndarray


class Scene(NamedTuple):
    """Over T targets and, as the last row, "nobody": a target without input, for heads that follow none.

    `place` (T+1, 3) m is where they are now, and what the area test is about; `led` (K, 3) m is where they will be
    when the light of each leg's heads arrives: that is aimed at. Each is to be lit in a spot of diameter `size`
    (T+1,) m at `level` (T+1,) 0..1. `waiting`: never had an input; `lost`: not heard for too long; `inside`: the
    area test lets it be lit; `near`: heads that stay may light it outside; `leapt`: further since the last frame
    than anybody runs. `guides` are heads that steer their target by pointing, with the angles they are sent.
    """

    place: Array
    led: Array
    size: Array
    level: Array
    waiting: np.ndarray
    lost: np.ndarray
    inside: np.ndarray
    near: np.ndarray
    leapt: np.ndarray
    guides: tuple[tuple[int, Guide], ...]
    all_well: bool
    """Every target is steered and inside."""
    within: bool
    """No target has moved by more than 2/5 of its spot since the last frame, and no spot shrunk to less than half.

    So a beam that missed its point by less than a tenth of its spot still lies in the spot.
    """

    frame_error: Array | None
    """How far off (T+1,) m they may be by the frame of their tracking input (95 %); None: they are not."""
