"""Fuzzed packets at the readers of tracking protocols: does anything escape, and how long does a packet take?

    python tools/bench/fuzz_inputs.py otp 1000000

Every packet comes from the seed. What an escape is says tests/unit/wire/fuzzed_inputs.py; times are processor time.
"""

from __future__ import annotations

import argparse
import gc
import json
import resource
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from bridge.wire import adm, psn
from bridge.wire.osc import encode_bundle
from bridge.wire.otp_send import Sent, transform
from tests.unit.wire.adm_fuzzed import ADM
from tests.unit.wire.fuzzed_inputs import Fuzzed, fuzz
from tests.unit.wire.otp_fuzzed import OTP
from tests.unit.wire.psn_fuzzed import PSN


def otp_ten(number: int) -> bytes:
    """Ten moving points of one producer."""
    points = [Sent(1, point, (point / 3, number / 1e4, 1.0), (1.0, 0.5, 0.0)) for point in range(10)]
    return transform(bytes(16), "tags", 1, number, 10_000_000 + number * 16_667, points)[0]


def psn_ten(number: int) -> bytes:
    """A frame of ten moving trackers with their speeds."""
    trackers = [psn.Tracker(at, (at / 3, number / 1e4, 1.0), (1.0, 0.5, 0.0), 1.0) for at in range(10)]
    return psn.data(trackers, 10_000_000 + number * 16_667, number)[0]


def adm_ten(number: int) -> bytes:
    """A bundle of ten moving objects."""
    return encode_bundle([adm.position(at, at / 30, number / 1e4, 0.5) for at in range(10)])


PROTOCOLS = {"otp": (OTP, otp_ten), "psn": (PSN, psn_ten), "adm-osc": (ADM, adm_ten)}
"""By name: what is fuzzed, and a good packet of ten points that move, for each number."""


def good_us(what: Fuzzed, ten: list[bytes]) -> float:
    """us for a good packet of ten points: the best of five rounds."""
    rounds = []
    for _ in range(5):
        reader, began_s = what.reader(), time.process_time()
        taken = sum(len(reader.take(packet, "192.0.2.1", number / 60)) for number, packet in enumerate(ten))
        rounds.append((time.process_time() - began_s) / len(ten) * 1e6)
        assert taken == 10 * len(ten)
    return min(rounds)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("protocol", choices=sorted(PROTOCOLS))
    parser.add_argument("packets", type=int, nargs="?", default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    what, ten = PROTOCOLS[options.protocol]
    gc.collect()
    gc.freeze()
    gc.disable()  # as in the daemon's loop: a full collection of the interpreter takes 5 ms, and no packet's fault
    found = fuzz(what, options.seed, options.packets)
    print(
        json.dumps(
            {
                "protocol": options.protocol,
                "packets": options.packets,
                "seed": options.seed,
                "escapes": dict(found.escapes),
                "points": found.points,
                "us_a_packet": round(found.mean_us, 1),
                "slowest_us": round(found.slowest_us),
                "us_a_good_packet_of_ten_points": round(good_us(what, [ten(number) for number in range(5000)]), 1),
                "most_memory_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
                "words": dict(found.reader.counters.most_common()),
            },
            indent=1,
        )
    )
    return 1 if found.escapes else 0


if __name__ == "__main__":
    raise SystemExit(main())
