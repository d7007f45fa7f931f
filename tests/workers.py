"""Which worker of pytest-xdist this is: tests with sockets keep off the universes and addresses of the other ones."""

from __future__ import annotations

import os

WORKER = int(os.environ.get("PYTEST_XDIST_WORKER", "gw0").removeprefix("gw"))
ADDRESS = f"127.0.0.{100 + WORKER % 100}"
"""An address of this machine for unicast: of sockets that share one, another worker's may take it."""


def own_universe(first: int) -> int:
    """A universe of this worker's alone; those up to 9 above are, too."""
    return first + 10 * (WORKER % 64)
