"""Buckets in virtual time."""

from __future__ import annotations

import pytest

from bridge.web.limits import Bucket, Buckets


def test_a_bucket_gives_its_burst_and_then_its_rate() -> None:
    bucket = Bucket(per_s=10.0, most=5.0, now_s=100.0)
    assert [bucket.take(100.0) for _ in range(7)] == [True] * 5 + [False] * 2
    assert bucket.wait_s == pytest.approx(0.1)
    assert not bucket.take(100.09)
    assert bucket.take(100.11)
    taken = sum(bucket.take(101.0 + k / 1000) for k in range(10_000))
    assert taken == pytest.approx(5 + 100, abs=2)


def test_asking_in_vain_costs_nothing() -> None:
    bucket = Bucket(per_s=1.0, most=1.0, now_s=0.0)
    assert bucket.take(0.0)
    assert not any(bucket.take(k / 1000) for k in range(999))
    assert bucket.take(1.001)


def test_each_host_has_its_own_and_memory_is_bounded() -> None:
    now = [0.0]
    buckets = Buckets(1.0, 2.0, lambda: now[0], hosts=3)
    assert [buckets.wait_s("a") for _ in range(3)] == [0.0, 0.0, 1.0]
    assert buckets.wait_s("b") == 0.0
    for host in "cdefgh":
        buckets.wait_s(host)
        assert buckets.wait_s("a") == 1.0, "one that keeps asking is not forgotten"
    assert len(buckets._by_host) == 3
    now[0] = 1.0
    assert buckets.wait_s("a") == 0.0
