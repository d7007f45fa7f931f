"""A process that dies in front of a call that changes the disk."""

from __future__ import annotations

import os

STEPS = ("fchmod", "fsync", "link", "replace")


def die_at(step: int) -> None:
    """From now on this process ends without a word at its `step`-th call of STEPS."""
    left = [step]

    def counted(call):
        def run(*args: object, **keys: object) -> object:
            left[0] -= 1
            if left[0] == 0:
                os._exit(9)
            return call(*args, **keys)

        return run

    for name in STEPS:
        setattr(os, name, counted(getattr(os, name)))
