"""Good packets of E1.59 for the fuzz: more producers and points than there is room for, pages, priorities."""

from __future__ import annotations

import random

from bridge.wire.otp import Reader
from bridge.wire.otp_layers import IDENTIFIER
from bridge.wire.otp_send import Sent, module_advertisement, transform
from bridge.wire.tracked import Place
from tests.unit.wire.fuzzed_inputs import Fuzzed


def good(rng: random.Random, number: int) -> bytes:
    """The number gives the folio, mostly a little behind or ahead of it, and the time stamp."""
    cid = bytes([rng.choice((1, 1, 1, 2, rng.randrange(24)))]) * 16
    folio = (2**32 - 100 + number + rng.choice((0, 0, 0, -1, -3, -6, 70_000))) % 2**32
    if rng.random() < 0.02:
        return module_advertisement(cid, "consumer", folio)
    at_us = 10_000_000 + number * 10_000
    points = [_point(rng, at_us) for _ in range(rng.choice((0, 1, 4, 10, 30)))]
    return rng.choice(transform(cid, f"producer {cid[0]}", rng.choice((1, 1, 1, 1, 2)), folio, at_us, points))


def _point(rng: random.Random, at_us: int) -> Sent:
    return Sent(
        1,
        rng.choice((rng.randrange(12), rng.randrange(4000))),
        rng.choice((_triple(rng, 20.0), _triple(rng, 2147.0), None)),
        rng.choice((_triple(rng, 10.0), None)),
        None,
        rng.choice((100, 100, rng.randrange(201))),
        rng.choice((at_us, at_us - 5000, 0, 2**64 - 1)),
        rng.random() < 0.3,
    )


def _triple(rng: random.Random, most: float) -> Place:
    return rng.uniform(-most, most), rng.uniform(-most, most), rng.uniform(-most, most)


OTP = Fuzzed(lambda: Reader(1), good, 2**31 / 1e3, IDENTIFIER + b"\0\1")
