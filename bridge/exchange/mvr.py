from __future__ import annotations

from typing import Any


def read_mvr(*args: Any) -> Any:
    raise NotImplementedError
