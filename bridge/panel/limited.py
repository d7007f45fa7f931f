"""A Python program inside limits: `python -m bridge.panel.limited tied|free WORDS` becomes `python WORDS`.

What a stranger's file makes a reader do is bounded by the kernel: memory, computing time, time at all, and the size of
what is written. `tied`: it dies with the process that started it; `free`: it ends what it has begun.
"""

from __future__ import annotations

import ctypes
import os
import resource
import signal
import sys

MEMORY_BYTES = 1 << 30
WRITTEN_BYTES = 64 << 20
SECONDS = 60
GRACE_S = 5
"""Whoever waits ends it after SECONDS; so much later it ends by itself."""
NICE = 10
_PR_SET_PDEATHSIG = 1  # Linux, <sys/prctl.h>
LIMITS = {
    resource.RLIMIT_AS: MEMORY_BYTES,
    resource.RLIMIT_CPU: SECONDS,
    resource.RLIMIT_FSIZE: WRITTEN_BYTES,
    resource.RLIMIT_CORE: 0,
}


def main(words: list[str]) -> None:
    """Set the limits, which hold for what this process becomes, and become it."""
    if words[0] == "tied":
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL, 0, 0, 0)
    for which, most in LIMITS.items():
        hard = resource.getrlimit(which)[1]
        most = most if hard == resource.RLIM_INFINITY else min(most, hard)
        resource.setrlimit(which, (most, most))
    signal.alarm(SECONDS + GRACE_S)
    os.nice(NICE)
    os.execv(sys.executable, [sys.executable, *words[1:]])


if __name__ == "__main__":
    main(sys.argv[1:])
