"""Numbers and arrays as strict JSON."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any


def as_json(value: object) -> str:
    """Strict JSON: arrays become lists, and what JSON cannot say (infinite, not a number) becomes null."""
    try:
        return json.dumps(value, allow_nan=False, separators=(",", ":"), default=_plain)
    except ValueError:
        return json.dumps(_finite(value), allow_nan=False, separators=(",", ":"))


def _plain(value: Any) -> Any:
    if hasattr(value, "tolist"):
        return value.tolist()
    raise TypeError(f"a page cannot be sent a {type(value).__name__}; expected numbers, text, lists and dicts")


def _finite(value: Any) -> Any:
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): _finite(item) for key, item in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_finite(item) for item in value]
    return value
