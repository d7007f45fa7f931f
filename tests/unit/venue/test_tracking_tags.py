"""Tags as a tracking system sees them: noise, lateness, losses and echoes as asked, by dice that repeat."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bridge.geometry.input_frame import InputFrame
from bridge.venue.tags import Sample, Tags
from bridge.venue.tracking_options import Tracking

STEP_S = 0.01
PLAIN = Tracking("otp", ("127.0.0.1", 5568), "127.0.0.1", {"lead": "1/1"}, height_m=1.0)


def looks(tracking: Tracking, seconds: float, speed: float = 0.0) -> list[Sample]:
    """Of a performer who walks along x from (0, 2) on, at steps as the venue makes them."""
    tags, found = Tags(tracking), []
    for step in range(round(seconds / STEP_S)):
        now_s = 100.0 + step * STEP_S
        found += tags.look(now_s, {"lead": (speed * step * STEP_S, 2.0, 0.0), "nobody": (0.0, 0.0, 0.0)})
    return found


def places(samples: list[Sample]) -> np.ndarray:
    return np.array([sample.tags[0].place for sample in samples if sample.tags])


def test_a_clean_tag_is_exactly_where_the_performer_is_at_that_moment() -> None:
    found = looks(PLAIN, 5.0, speed=3.0)
    assert len(found) == pytest.approx(300, abs=2)
    at_s = np.array([sample.at_s for sample in found])
    assert np.allclose(np.diff(at_s), 1 / 60)
    assert np.allclose(places(found), np.stack([3.0 * (at_s - 100.0), at_s * 0 + 2.0, at_s * 0 + 1.0], axis=1))
    assert all(sample.due_s == sample.at_s and [t.point for t in sample.tags] == ["1/1"] for sample in found)
    assert np.allclose([sample.tags[0].velocity for sample in found], (3.0, 0.0, 0.0))


def test_a_look_is_planned_at_most_a_step_ahead() -> None:
    tags = Tags(PLAIN)
    for step in range(300):
        now_s = step * STEP_S
        assert all(now_s - 1e-9 <= one.at_s <= now_s + STEP_S + 1e-9 for one in tags.look(now_s, {"lead": (0, 0, 0)}))


def test_after_a_stall_nothing_comes_in_a_burst() -> None:
    tags = Tags(PLAIN)
    tags.look(0.0, {"lead": (0, 0, 0)})
    tags.look(0.01, {"lead": (0, 0, 0)})
    assert len(tags.look(5.0, {"lead": (0, 0, 0)})) <= 17


def test_noise_is_white_and_as_asked() -> None:
    off = places(looks(replace(PLAIN, noise_m=0.02), 100.0)) - (0.0, 2.0, 1.0)
    assert off.std(axis=0) == pytest.approx([0.02] * 3, rel=0.04)  # 6000 of them: 0.9 % at 1 sigma
    assert np.abs(off.mean(axis=0)).max() < 0.0011
    assert abs(np.corrcoef(off[:-1, 0], off[1:, 0])[0, 1]) < 0.05
    assert abs(np.corrcoef(off[:, 0], off[:, 1])[0, 1]) < 0.05


def test_delay_and_jitter_are_as_asked() -> None:
    late = np.array([s.due_s - s.at_s for s in looks(replace(PLAIN, delay_s=0.03, jitter_s=0.02), 100.0)])
    assert 0.03 - 1e-9 <= late.min() < 0.0305
    assert 0.0495 < late.max() <= 0.05 + 1e-9
    assert late.mean() == pytest.approx(0.04, abs=0.0005)


@pytest.mark.parametrize("burst_s", [0.0, 0.3])
def test_losses_are_as_many_and_as_long_as_asked(burst_s: float) -> None:
    lost = np.array([not s.tags for s in looks(replace(PLAIN, loss=0.2, burst_s=burst_s), 600.0)])
    assert lost.mean() == pytest.approx(0.2, abs=0.03)
    edges = np.flatnonzero(np.diff(np.r_[0, lost.astype(int), 0]))
    lengths = np.diff(edges)[::2]
    # one by one: a run of losses ends with chance 0.8, so it is 1.25 long on average
    assert lengths.mean() == pytest.approx(0.3 * 60 if burst_s else 1.25, rel=0.2)


def test_echoes_are_as_many_and_as_far_as_asked() -> None:
    off = places(looks(replace(PLAIN, jumps=30.0, jump_m=8.0), 600.0)) - (0.0, 2.0, 1.0)
    far = np.linalg.norm(off, axis=1)
    assert np.count_nonzero(far > 1) == pytest.approx(300, abs=70)
    assert np.allclose(far[far > 1], 8.0)
    assert np.allclose(off[:, 2], 0.0)


def test_the_same_dice_give_the_same_looks() -> None:
    rough = replace(PLAIN, noise_m=0.02, jitter_s=0.01, loss=0.1, jumps=60.0, jump_m=3.0)
    assert looks(rough, 3.0) == looks(rough, 3.0)
    assert looks(rough, 3.0) != looks(replace(rough, seed=2), 3.0)


@pytest.mark.parametrize(
    "frame",
    [
        InputFrame(("x", "z", "-y"), 30.0, None, (1.0, 2.0, -0.5), 2.0),
        InputFrame(("x", "z", "y"), -120.0, None, (0.0, 5.0, 0.0), 0.01),  # mirrored, in centimetres
        InputFrame(rotation=(0.1, 0.2, 0.3, 0.927361849549570), origin=(3.0, 0.0, 1.0)),
    ],
)
def test_a_frame_of_its_own_carries_back_onto_the_stage(frame: InputFrame) -> None:
    seen = looks(replace(PLAIN, frame=frame), 2.0, speed=1.0)
    for sample in seen:
        assert frame.place(sample.tags[0].place) == pytest.approx((sample.at_s - 100.0, 2.0, 1.0), abs=1e-9)
        assert frame.velocity(sample.tags[0].velocity) == pytest.approx((1.0, 0.0, 0.0), abs=1e-9)


def test_somebody_else_at_once_is_no_speed() -> None:
    tags = Tags(PLAIN)
    tags.look(0.0, {"lead": (0.0, 0.0, 0.0)})
    tags.look(0.01, {"lead": (0.0, 0.0, 0.0)})
    found = tags.look(0.02, {"lead": (5.0, 0.0, 0.0)}) + tags.look(0.03, {"lead": (5.0, 0.0, 0.0)})
    assert [sample.tags[0].place[0] for sample in found] == [5.0] * len(found)
    assert found
