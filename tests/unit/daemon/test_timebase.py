"""A sender's stamps on our clock: jitter out, drift followed, nonsense and clocks that were set not believed."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import pytest

from bridge.daemon.timebase import MOST_CLOCKS, Timebase

SEED = 11
FIXED_S = 0.005
"""The smallest delay, which nobody can see."""

Jitter = Callable[[random.Random, float], float]
Clock = Callable[[float], float]


def uniform(most_s: float) -> Jitter:
    return lambda chance, at_s: chance.uniform(0.0, most_s)


def bursts(chance: random.Random, at_s: float) -> float:
    """Every 5 s nothing for half a second, then all of it at once."""
    return 0.5 - at_s % 5.0 if at_s % 5.0 < 0.5 else chance.uniform(0.0, 0.005)


def run(jitter: Jitter, clock: Clock, rate_hz: float = 60.0, for_s: float = 60.0) -> list[tuple[float, float, float]]:
    """(when sampled, when arrived, what the timebase says) of packets in the order of arrival; `clock` gives stamps."""
    chance, timebase = random.Random(SEED), Timebase()
    sampled = [1000.0 + n / rate_hz for n in range(round(for_s * rate_hz))]
    packets = sorted((at_s + FIXED_S + jitter(chance, at_s), at_s) for at_s in sampled)
    rows = [(at_s, arrival_s, timebase.seen_s("a", int(clock(at_s) * 1e6), arrival_s)) for arrival_s, at_s in packets]
    assert all(arrival_s - 1.0 - 1e-9 <= seen_s <= arrival_s for _, arrival_s, seen_s in rows)
    return rows


def off_ms(rows: list[tuple[float, float, float]], from_s: float = 1005.0, to_s: float = math.inf) -> list[float]:
    """How far what it says is from when it was sampled and the smallest delay, ms."""
    return [1e3 * (seen_s - at_s - FIXED_S) for at_s, _, seen_s in rows if from_s <= at_s < to_s]


def rms(values: list[float]) -> float:
    return math.sqrt(sum(value * value for value in values) / len(values))


@pytest.mark.parametrize("drift", [0.0, 100e-6, -100e-6])
@pytest.mark.parametrize(
    ("jitter", "most_ms"), [(uniform(0.005), 0.1), (uniform(0.03), 0.4), (uniform(0.2), 2.0), (bursts, 0.1)]
)
def test_jitter_is_taken_out_and_drift_followed(jitter: Jitter, most_ms: float, drift: float) -> None:
    assert rms(off_ms(run(jitter, lambda t: 123.0 + t * (1.0 + drift)))) <= most_ms


def test_a_slow_sender_is_met_as_well() -> None:
    assert rms(off_ms(run(uniform(0.03), lambda t: t * 1.0001, rate_hz=10.0, for_s=120.0))) <= 1.0


def test_large_stamps_lose_nothing() -> None:
    assert rms(off_ms(run(uniform(0.005), lambda t: 1.7e9 + t))) <= 0.1


@pytest.mark.parametrize("step_s", [0.1, 5.0, 1e6, -0.5, -5.0, -900.0])
def test_a_clock_that_is_set_is_met_again_within_a_second_and_a_half(step_s: float) -> None:
    rows = run(uniform(0.03), lambda t: t + (step_s if t > 1030.0 else 0.0))
    assert rms(off_ms(rows, to_s=1030.0)) <= 0.4
    assert rms(off_ms(rows, from_s=1032.0)) <= 0.6


@pytest.mark.parametrize("step_s", [5.0, -5.0, -900.0])
def test_a_clock_that_begins_anew_leaves_times_of_arrival_within_a_tenth_of_a_second(step_s: float) -> None:
    rows = run(uniform(0.03), lambda t: t + (step_s if t > 1030.0 else 0.0))
    assert all(seen_s == arrival_s for at_s, arrival_s, seen_s in rows if 1030.1 < at_s < 1030.9)


def nonsense(name: str) -> Clock:
    chance = random.Random(SEED)
    return {
        "stands": lambda t: 77.0,
        "random": lambda t: chance.random() * 1e5,
        "in ms": lambda t: t / 1000.0,
        "in ns": lambda t: t * 1000.0,
        "backwards": lambda t: 5000.0 - t,
    }[name]


@pytest.mark.parametrize("name", ["stands", "random", "in ms", "in ns", "backwards"])
def test_stamps_of_nonsense_are_not_used(name: str) -> None:
    assert all(seen_s == arrival_s for _, arrival_s, seen_s in run(uniform(0.03), nonsense(name)))


def test_a_clock_that_stops_is_given_up() -> None:
    rows = run(uniform(0.03), lambda t: min(t, 1030.0))
    assert all(seen_s == arrival_s for at_s, arrival_s, seen_s in rows if at_s > 1031.2)


def test_packets_that_take_another_way_from_some_moment_on_are_followed() -> None:
    """120 ms more delay for good: nobody can see it, so it is taken for a clock that was set back, after a second."""
    rows = run(lambda chance, t: chance.uniform(0.0, 0.01) + (0.12 if t > 1030.0 else 0.0), lambda t: t)
    assert max(abs(value - 120.0) for value in off_ms(rows, from_s=1033.0)) <= 1.0


def test_without_a_stamp_and_before_a_clock_is_believed_the_time_of_arrival_stands() -> None:
    timebase = Timebase()
    assert timebase.seen_s("a", None, 7.5) == 7.5
    assert [timebase.seen_s("a", n * 100_000, 8.0 + n / 10 + 0.01 * (n % 2)) for n in range(4)] == [
        8.0,
        8.11,
        8.2,
        8.31,
    ]
    assert not timebase.trusts("a")


def test_clocks_of_senders_are_kept_apart_and_bounded() -> None:
    timebase = Timebase()
    for n in range(200):
        at_s = 50.0 + n / 50
        timebase.seen_s("a", n * 20_000, at_s)
        timebase.seen_s("b", 10**15 + n * 20_000, at_s)
    assert timebase.trusts("a")
    assert timebase.trusts("b")
    for n in range(MOST_CLOCKS):
        timebase.seen_s(f"made up {n}", n, 60.0)
    assert not timebase.trusts("a")
