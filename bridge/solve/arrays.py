"""The array type of this room: floats, masks and row numbers meet in one expression too often to tell them apart."""

from typing import Any

from numpy.typing import NDArray

Array = NDArray[Any]
