"""Good datagrams of ADM-OSC for the fuzz: every word of it, more objects than there is room for, bundles, patterns."""

from __future__ import annotations

import random

from bridge.wire import adm
from bridge.wire.osc import Argument, encode, encode_bundle
from tests.unit.wire.fuzzed_inputs import Fuzzed

WORDS = {"xyz": 3, "xy": 2, "x": 1, "y": 1, "z": 1, "aed": 3, "azim": 1, "elev": 1, "dist": 1, "dmax": 1, "gain": 1}
FARTHEST = 1.7321 * 1e4
"""A corner of the room by the largest dmax."""


def good(rng: random.Random, number: int) -> bytes:
    """One message, or a bundle of up to 40, some of them nested."""
    messages = [_message(rng) for _ in range(rng.choice((0, 1, 1, 1, 1, 4, 10, 40)))]
    if len(messages) == 1 and rng.random() < 0.8:
        return messages[0]
    return encode_bundle(messages if rng.random() < 0.8 else [*messages, encode_bundle([_message(rng)])])


def _message(rng: random.Random) -> bytes:
    of: object = rng.choice((rng.randrange(12), rng.randrange(4000)))
    if rng.random() < 0.02:
        of = rng.choice(("*", "[1-3]", "{1,2}", "x", "", "007"))
    if rng.random() < 0.02:
        return encode(f"/adm/obj/{of}/name", rng.choice(("singer", "Zoë", "")))
    word, count = rng.choice([*WORDS.items()])
    most = 1.0 if word[0] in "xyzd" else 90.0
    args: list[Argument] = [rng.choice((rng.uniform(-most, most), rng.uniform(0, 1.0))) for _ in range(count)]
    if rng.random() < 0.05:
        args = rng.choice(([], ["touch"], [True] * count, [9] * count, [0] * count, [0.5] * (count + 1)))
    return encode(f"/adm/{rng.choice(('obj', 'obj', 'obj', 'obj', 'lis'))}/{of}/{word}", *args)


ADM = Fuzzed(adm.Reader, good, FARTHEST, b"#bundle\0" + bytes(7) + b"\1\0\0\0\x24/adm/obj/7/xyz\0\0,fff\0\0\0\0")
