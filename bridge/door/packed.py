"""512 slots, most of them alike, as a short text for JSON, and back."""

from __future__ import annotations

import base64
import binascii
import zlib
from typing import Any

from bridge.wire.e131 import SLOTS


def packed(slots: bytes) -> str:
    """Compressed, in base64."""
    return base64.b64encode(zlib.compress(slots, 1)).decode()


def unpacked(text: Any) -> bytes:
    """The 512 slots that `packed` was given; ValueError or TypeError on anything else."""
    try:
        slots = zlib.decompress(base64.b64decode(text))
    except (zlib.error, binascii.Error) as error:
        raise ValueError(f"no packed slots: {error}") from None
    if len(slots) != SLOTS:
        raise ValueError(f"{len(slots)} slots, expected {SLOTS}")
    return slots
