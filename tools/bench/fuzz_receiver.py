"""Fuzzed packets at the receiver of E1.31: does anything escape, and how long does a packet take?

    python tools/bench/fuzz_receiver.py --packets 1000000

Every packet comes from the seed. An escape is an exception, a look of other than 512 octets, or a moment in the past
at which something should become due (a daemon would wake for it for ever).
"""

from __future__ import annotations

import argparse
import json
import resource
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.unit.wire.fuzzed import fuzz


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--packets", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    began_s = time.perf_counter()
    escapes, receiver = fuzz(options.seed, options.packets)
    found = {
        "packets": options.packets,
        "seed": options.seed,
        "escapes": escapes,
        "seconds": round(time.perf_counter() - began_s, 1),
        "most_memory_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
        "words": dict(receiver.counters.most_common()),
    }
    print(json.dumps(found, indent=1))
    return 1 if escapes else 0


if __name__ == "__main__":
    raise SystemExit(main())
