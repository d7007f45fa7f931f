"""The pacer's claims, in virtual time. Times are binary fractions where equality is asserted."""

import pytest

from bridge.daemon.pacer import MIN_GAP_S, Pacer

PERIOD = 1 / 32


def sent(pacer: Pacer, at_s: float) -> None:
    pacer.ticked(at_s, at_s, at_s)


def test_the_first_tick_is_due_at_once() -> None:
    assert Pacer(32).due_s() < 0


def test_without_input_ticks_go_on_at_the_rate() -> None:
    pacer = Pacer(32)
    sent(pacer, 1.0)
    assert pacer.due_s() == 1.0 + PERIOD
    pacer.ticked(1.0 + PERIOD, 1.0 + PERIOD, None)
    assert pacer.due_s() == 1.0 + 2 * PERIOD


def test_an_observation_after_a_quiet_period_is_due_at_once() -> None:
    pacer = Pacer(32)
    sent(pacer, 1.0)
    pacer.ticked(2.0, 2.0, None)  # an idle tick, nothing sent for a second
    pacer.observe()
    assert pacer.due_s() == 2.0 + MIN_GAP_S


def test_an_observation_within_the_period_waits_for_its_end() -> None:
    pacer = Pacer(32)
    sent(pacer, 1.0)
    pacer.observe()
    assert pacer.due_s() == 1.0 + PERIOD


def test_an_idle_tick_does_not_delay_an_observation_but_a_packet_does() -> None:
    pacer = Pacer(32)
    sent(pacer, 1.0)
    pacer.ticked(1.0 + PERIOD, 1.0 + PERIOD, None)
    pacer.observe()
    assert pacer.due_s() == 1.0 + PERIOD + MIN_GAP_S
    sent(pacer, 1.0 + PERIOD + MIN_GAP_S)
    pacer.observe()
    assert pacer.due_s() == 1.0 + 2 * PERIOD + MIN_GAP_S


def test_spacing_counts_from_the_packet_that_really_left() -> None:
    pacer = Pacer(32)
    pacer.ticked(1.0, 1.25, 1.5)
    assert pacer.allowed_s == 1.5 + PERIOD


def test_a_stall_is_followed_by_one_frame_and_not_by_a_burst() -> None:
    pacer = Pacer(32)
    sent(pacer, 1.0)
    assert pacer.due_s() < 5.0
    sent(pacer, 5.0)
    assert pacer.due_s() == 5.0 + PERIOD


def test_a_tick_starts_earlier_by_what_every_recent_tick_took_and_packets_still_wait() -> None:
    pacer = Pacer(32)
    now_s = 1.0
    for _ in range(5000):
        pacer.ticked(now_s, now_s + 0.004, now_s + 0.004)
        now_s = pacer.due_s()
    assert pacer.allowed_s - pacer.due_s() == pytest.approx(0.004, abs=1e-4)
    pacer.ticked(now_s, now_s + 0.001, now_s + 0.001)  # one that was quicker shortens the lead at once
    assert pacer.allowed_s - pacer.due_s() <= 0.001 + 1e-9


def test_a_flood_of_observations_that_change_nothing_is_ticked_at_most_every_gap() -> None:
    pacer = Pacer(32)
    sent(pacer, 1.0)
    now_s, ticks = 2.0, 0
    while now_s < 3.0:
        pacer.observe()
        now_s = max(now_s + 1e-5, pacer.due_s())
        pacer.ticked(now_s, now_s, None)
        ticks += 1
    assert ticks <= 1.0 / MIN_GAP_S + 1


def test_a_packet_that_leaves_after_its_time_is_late_while_packets_flow() -> None:
    pacer = Pacer(50)
    pacer.ticked(1.0, 1.001, 1.001)
    assert pacer.late_s == 0.0, "nobody waits for the first"
    pacer.ticked(1.02, 1.021, 1.021)
    assert pacer.late_s == pytest.approx(0.0)
    pacer.ticked(1.045, 1.046, 1.046)
    assert pacer.late_s == pytest.approx(0.005)
    pacer.ticked(1.06, 1.061, None)
    assert pacer.late_s == 0.0, "nothing left"


def test_after_silence_an_observation_is_late_by_what_its_frame_began_after_it() -> None:
    pacer = Pacer(50)
    pacer.ticked(1.0, 1.001, 1.001)
    pacer.ticked(1.021, 1.022, None)
    pacer.observe(1.030)
    pacer.observe(1.033)
    assert pacer.due_s() == pytest.approx(1.030)
    pacer.ticked(1.034, 1.035, 1.035)
    assert pacer.late_s == pytest.approx(0.004), "since the first of them"
    pacer.ticked(1.055, 1.056, None)
    pacer.ticked(1.085, 1.086, 1.086)
    assert pacer.late_s == pytest.approx(0.010), "a keep-alive has its own time"
