"""Broken GDTF and MVR files at their readers: is anything but FileRefused raised, a file written, memory lost?

    python tools/bench/exchange_fuzz.py --count 100000

Every file comes from its number (tests/unit/exchange/mutations.py). One process; prints one line of JSON.
"""

from __future__ import annotations

import argparse
import json
import resource
import sys
import time
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.unit.exchange.mutations import opened_for_writing, outcome, watch_files


def main() -> int:
    """The command."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--count", type=int, default=100_000)
    options.add_argument("--first", type=int, default=0, help="the first number")
    told = options.parse_args()
    figures = measure(told.first, told.count)
    print(json.dumps(figures))
    return 1 if figures["failed"] or figures["written"] else 0


def measure(first: int, count: int) -> dict[str, object]:
    """Reads the files of `count` numbers; what came of them. `slowest`: ms of CPU and the number."""
    ends: Counter[str] = Counter()
    failed: list[str] = []
    slowest, began = (0.0, first), time.process_time()
    with watch_files():
        for number in range(first, first + count):
            start = time.process_time()
            try:
                ends[outcome(number)] += 1
            except Exception as error:  # whatever it is, is what this looks for
                failed.append(f"{number}: {type(error).__name__}: {str(error)[:200]}")
            slowest = max(slowest, (1000 * (time.process_time() - start), number))
    return {
        "first": first,
        "files": count,
        **ends,
        "failed": len(failed),
        "failures": failed[:20],
        "written": opened_for_writing()[:20],
        "slowest_ms": round(slowest[0]),
        "slowest": slowest[1],
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
        "cpu_s": round(time.process_time() - began),
    }


if __name__ == "__main__":
    sys.exit(main())
