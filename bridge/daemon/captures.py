"""Which captures there are: their names, when the next one begins, which go. No disk, no clock."""

from __future__ import annotations

import re
import time
from calendar import timegm
from collections.abc import Iterable
from dataclasses import dataclass

LONGEST_US = 600_000_000
"""How long one capture is written."""
PART_OF_ALL = 8
"""One capture takes at most this part of all that may be kept, so that removing the oldest is never much at once."""
RETRY_US = 5_000_000
"""A capture lasts this long whatever happens: also how long a disk that fails is left alone."""
NAME_LENGTH = 50

_STAMP = "%Y%m%dT%H%M%SZ"
_DAY_S = 86400.0


@dataclass(frozen=True)
class Limits:
    """What is kept: no capture older than `days` (by the time in its name), no more than `octets` in all."""

    days: float
    octets: int

    @property
    def of_one(self) -> int:
        """Octets of one capture, after which the next begins."""
        return self.octets // PART_OF_ALL

    @property
    def most_of_one(self) -> int:
        """Octets of one capture where so much comes in that it reaches them before the next may begin."""
        return self.octets - self.of_one


def safe_name(name: str) -> str:
    """`name` as the beginning of a file name: letters, digits, `_`, `-`, `.`; never hidden, never too long."""
    return re.sub(r"[^\w.-]", "_", name)[:NAME_LENGTH].lstrip(".") or "capture"


def file_name(name: str, wall_us: int, again: int = 0) -> str:
    """NAME-YYYYmmddTHHMMSSZ.pcapng in UTC; `again` counts those of one second."""
    stamp = time.strftime(_STAMP, time.gmtime(wall_us // 1_000_000))
    return f"{name}-{stamp}{f'-{again}' if again else ''}.pcapng"


def began(name: str, file: str) -> tuple[float, int] | None:
    """(UTC seconds, count within the second) of a file that `file_name` named; None for all others."""
    found = re.fullmatch(re.escape(name) + r"-(\d{8}T\d{6}Z)(?:-(\d{1,6}))?\.pcapng", file, re.ASCII)
    if found is None:
        return None
    try:
        return float(timegm(time.strptime(found[1], _STAMP))), int(found[2] or 0)
    except ValueError:
        return None


def surplus(files: Iterable[tuple[str, int]], name: str, wall_us: int, limits: Limits) -> list[str]:
    """Which of `files` (name, octets) are to go before the next capture begins: the oldest, and never foreign ones.

    Room is left for the next one, so that all together stay within `limits` while it is written.
    """
    dated = [(when, file, octets) for file, octets in files if (when := began(name, file)) is not None]
    oldest_s = wall_us / 1e6 - limits.days * _DAY_S
    going, left = [], limits.octets - limits.of_one
    for when, file, octets in sorted(dated, reverse=True):
        left -= octets
        if when[0] < oldest_s or left < 0:
            going.append(file)
    return going[::-1]


def next_due(age_us: int, octets: int, broken: bool, limits: Limits) -> bool:
    """Whether the next capture is to begin, `age_us` and `octets` after the last one began (or could not).

    `broken`: the last one cannot be written, or has a gap after which only a new state can be replayed.
    """
    return age_us >= LONGEST_US or (age_us >= RETRY_US and (broken or octets >= limits.of_one))
