"""The array types of this room."""

import numpy as np
from numpy.typing import NDArray

from bridge.geometry.frames import Array

Mask = NDArray[np.bool_]
Rows = NDArray[np.intp]  # row or point numbers, and counts

__all__ = ["Array", "Mask", "Rows"]
