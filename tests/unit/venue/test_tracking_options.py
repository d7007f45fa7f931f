"""A tracking system as one text: what it means, what the show fills in, and clear words for what is wrong."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bridge.errors import InputError
from bridge.geometry.input_frame import InputFrame
from bridge.geometry.stage import Source, Target
from bridge.show.model import Show
from bridge.venue.tracking_keys import KEYS
from bridge.venue.tracking_options import ADM_ROOM_M, parse_all, parse_tracking
from bridge.wire.settings import InputSettings
from tests.unit.venue.rigs import show, stage

FRAME = InputFrame(turn=30.0, origin=(1.0, 2.0, 0.0))


def tracked_show() -> Show:
    """Inputs of all protocols; a lead with two sources and a guest with one."""
    targets = (
        Target("lead", sources=(Source("tags", "1/7"), Source("sound", "4"))),
        Target("guest", sources=(Source("tags", "2/1"),)),
    )
    inputs = {
        "tags": InputSettings("otp", "127.0.0.2", system=9),
        "stage": InputSettings("psn", None, host="236.10.10.11", port=5000),
        "sound": InputSettings("adm-osc", None, host="0.0.0.0", port=4002),
    }
    plain = show(place=replace(stage(), targets=targets))
    return replace(plain, network=replace(plain.network, inputs=inputs), frames={"tags": FRAME})


def test_the_show_fills_in_what_is_not_said() -> None:
    otp, psn, adm, osc = parse_all(["otp", "psn", "adm-osc", "osc"], tracked_show(), "lead")
    assert (otp.to, otp.interface, otp.system) == (("239.159.1.9", 5568), "127.0.0.2", 9)
    assert otp.points == {"lead": "1/7", "guest": "2/1"}
    assert otp.frame == FRAME
    assert (psn.to, psn.interface, psn.points) == (
        ("236.10.10.11", 5000), "127.0.0.1", {"lead": "1", "guest": "2"},
    )  # fmt: skip
    assert (adm.to, adm.points, adm.frame.scale) == (("127.0.0.1", 4002), {"lead": "4"}, ADM_ROOM_M)
    assert (osc.to, osc.frame) == (("127.0.0.1", 9201), InputFrame())


def test_a_show_without_inputs_has_usual_places() -> None:
    otp, psn, adm = parse_all(["otp,system=3", "psn", "adm-osc"], show(), "lead")
    assert (otp.to, otp.points) == (("239.159.1.3", 5568), {"lead": "1/1"})
    assert psn.to == ("236.10.10.10", 56565)
    assert adm.to == ("127.0.0.1", 4001)


def test_all_that_can_be_said() -> None:
    text = (
        "otp,noise=0.02,delay=0.03,jitter=0.01,loss=0.1,burst=0.5,jumps=6/8,turn=90,origin=1/2/-3,axes=x/z/-y,scale=2,"
        "rate=30,system=4,to=127.0.0.1:6000,point=3/8,height=1.1,velocity=on,drift=-40,seed=7"
    )
    found = parse_tracking(text, tracked_show(), "guest")
    assert (found.noise_m, found.delay_s, found.jitter_s, found.loss, found.burst_s) == (0.02, 0.03, 0.01, 0.1, 0.5)
    assert (found.jumps, found.jump_m, found.rate_hz, found.height_m) == (6.0, 8.0, 30.0, 1.1)
    assert found.frame == InputFrame(("x", "z", "-y"), 90.0, None, (1.0, 2.0, -3.0), 2.0)
    assert (found.system, found.to, found.points) == (4, ("127.0.0.1", 6000), {"guest": "3/8"})
    assert (found.velocity, found.drift_ppm, found.seed) == (True, -40.0, 7)
    assert "3/8 on guest" in found.words


def test_targets_after_the_one_with_a_point_get_the_next_ones() -> None:
    assert parse_tracking("psn,point=5", tracked_show(), "lead").points == {"lead": "5", "guest": "6"}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("radar", "expected it to begin with one of otp, psn, adm-osc, osc"),
        ("otp,nois=1", "KEY one of noise, delay"),
        ("otp,noise", "KEY=VALUE"),
        ("otp,noise=much", "expected 0 to 5 m"),
        ("otp,noise=nan", "expected 0 to 5 m"),
        ("otp,noise=1,noise=1", "noise is said twice"),
        ("otp,loss=1", "expected 0 to 0.95"),
        ("otp,jumps=6", "a rate per minute and metres, such as 6/8"),
        ("otp,origin=1/2", "three metres, such as 2/0/-0.5"),
        ("otp,axes=x/x/z", "which axis of the input"),
        ("otp,velocity=yes", "on or off"),
        ("otp,to=tracker", "HOST:PORT"),
        ("otp,system=201", "a whole number from 1 to 200"),
        ("otp,point=7", "GROUP/POINT, such as 1/7"),
        ("psn,point=1/7", "a whole number"),
        ("psn,point=70000", "1 to 60000"),
        ("otp,input=radar", "the show's inputs are tags, stage, sound"),
        ("otp,input=stage", "that one is psn, not otp"),
    ],
)
def test_what_is_wrong_is_said(text: str, words: str) -> None:
    with pytest.raises(InputError) as found:
        parse_tracking(text, tracked_show(), "lead")
    assert words in str(found.value)
    assert text in str(found.value)


def test_every_key_refuses_junk() -> None:
    for key in set(KEYS) - {"point", "input"}:
        with pytest.raises(InputError, match="expected"):
            parse_tracking(f"otp,{key}=?", tracked_show(), "lead")
