"""Moments that can be compared across a restart of the program, and only of the program.

The wall clock may be slow after a power cut, and a show that ended yesterday would seem a second old. So a moment is
seconds since the machine booted (they go on through a suspend), and which boot it was.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import NamedTuple

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")  # Linux, random(4)


class Moment(NamedTuple):
    """`boot` names the boot of this machine, "" where that is unknown; `s` is seconds since then."""

    boot: str
    s: float

    def after(self, earlier: Moment) -> float | None:
        """Seconds since an earlier moment of the same boot; None when it was another, or cannot be told."""
        return self.s - earlier.s if self.boot and self.boot == earlier.boot else None


def moment() -> Moment:
    """Now."""
    try:
        boot = BOOT_ID.read_text("ascii").strip()
    except (OSError, ValueError):
        boot = ""
    return Moment(boot, time.clock_gettime(time.CLOCK_BOOTTIME))
