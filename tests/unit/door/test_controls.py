"""The desk as an operator: what its slots ask for, once each, whatever a fader does at an edge."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterable
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.door.controls import RENEW_S, SENDER, Controls, Said, messages
from bridge.door.events import DeskFrame
from bridge.errors import Refused
from bridge.rig.profile import Axis
from bridge.wire.settings import Control, DeskGuide, DeskSettings
from tests.unit.door.stand_ins import run, say, small_door, small_show

SIZE = Control(((60, 1),), "/target/lead/size", 16, (0.5,), (4.0,))
PLACE = Control(((60, 5), (60, 7)), "/target/lead/position", 16, (-6.0, 0.0), (6.0, 8.0))
DARK = Control(((60, 3),), "/dark", above=127, below=117)
CREW = Control(((60, 9),), "/target/lead/crew", choose=((10, ("foh-1", "foh-2")), (128, ("foh-1",)), (200, ())))


def frame(universe: int = 60, alive: bool = True, **slots: int) -> DeskFrame:
    """A universe with these slots, s1=..., and 0 elsewhere."""
    octets = bytearray(512)
    for name, value in slots.items():
        octets[int(name[1:]) - 1] = value
    return DeskFrame(universe, bytes(octets), "desk", "10.0.0.9", 100, alive)


def controls(*found: Control, guide: DeskGuide | None = None) -> Controls:
    settings = DeskSettings("overlay", {1: 101, 2: 102}, controls=found, guide=guide)
    return Controls(settings, small_show().fixtures)


def said(operated: Controls, values: Iterable[int], slot: str = "s1") -> list[Said]:
    """What a slot says that goes through these values, one frame each."""
    return [one for value in values for one in operated.take([frame(**{slot: value})])]


# Values


def test_a_value_is_sent_at_first_and_then_when_its_slots_change() -> None:
    desk = controls(SIZE)
    assert desk.take([frame()]) == [("/target/lead/size", (0.5,))]
    assert desk.take([frame(s3=9, s100=200)]) == []
    assert desk.take([frame(s1=255, s2=255)]) == [("/target/lead/size", (4.0,))]
    ((_, (size,)),) = desk.take([frame(s1=128, s2=1)])
    assert size == pytest.approx(0.5 + 3.5 * 0x8001 / 0xFFFF)


@given(st.sampled_from([8, 16]), st.floats(-1000, 1000), st.floats(-1000, 1000), st.data())
def test_values_meet_their_ends_exactly_and_never_turn_back(
    bits: int, first: float, last: float, data: st.DataObject
) -> None:
    full = (1 << bits) - 1
    low, high = sorted((data.draw(st.integers(0, full)), data.draw(st.integers(0, full))))
    desk = controls(Control(((60, 1),), "/level", bits, (first,), (last,)))
    found = []
    for raw in (0, low, high, full):
        coarse, fine = divmod(raw, 256) if bits == 16 else (raw, 0)
        found += [args[0] for _, args in desk.take([frame(s1=coarse, s2=fine)])] or found[-1:]
    assert (found[0], found[-1]) == (first, last)
    assert found == sorted(found, reverse=last < first)


def test_two_encoders_steer_a_target_through_the_door_until_somebody_else_takes_it() -> None:
    door, desk = small_door(), controls(PLACE)
    for message in messages(desk.take([frame(s5=128, s7=255, s8=255)]), 1.0):
        door.apply(message)
    run(door, 1.0, 2)
    (target, *_) = door.engine.place.status(1.1)
    assert (target.x, target.y) == pytest.approx((-6.0 + 12.0 * 0x8000 / 0xFFFF, 8.0))
    say(door, 1.2, "/target/lead/take")
    (moved,) = messages(desk.take([frame(s5=10)]), 1.3)
    assert moved.sender == SENDER
    with pytest.raises(Refused, match="is steered by"):
        door.apply(moved)


def test_a_desk_sets_size_height_and_level_in_its_cues_whoever_steers_and_does_not_steer_by_it() -> None:
    door = small_door()
    values = [("size", 0.5, 4.0), ("height", 0.0, 2.0), ("level", 0.0, 1.0)]
    desk = controls(*(Control(((60, n),), f"/target/lead/{w}", 8, (a,), (b,)) for n, (w, a, b) in enumerate(values, 1)))
    say(door, 1.0, "/target/lead/position", 1.0, 3.0)
    for message in messages(desk.take([frame(s1=255, s2=255, s3=255)]), 1.1):
        door.apply(message)
    place = door.engine.place
    assert [float(ramps.at(1.2)[0]) for ramps in (place.size, place.height, place.level)] == [4.0, 2.0, 1.0]
    say(door, 1.3, "/target/lead/position", 2.0, 3.0)
    for message in messages(desk.take([frame()]), 20.0):
        door.apply(message)
    say(door, 20.1, "/target/lead/position", 1.0, 3.0)
    assert float(place.size.at(20.2)[0]) == 0.5


def test_slots_on_two_universes_wait_until_both_were_heard() -> None:
    desk = controls(Control(((60, 1), (61, 1)), "/target/lead/position", 8, (0.0, 0.0), (255.0, 255.0)))
    assert desk.take([frame(60, s1=5)]) == []
    assert desk.take([frame(61, s1=7)]) == [("/target/lead/position", (5.0, 7.0))]
    assert desk.take([frame(60, s1=6)]) == [("/target/lead/position", (6.0, 7.0))]
    assert desk.take([frame(60, s1=1), frame(61, s1=2)]) == [("/target/lead/position", (1.0, 2.0))]


def test_a_desk_that_is_lost_asks_for_nothing_and_goes_on_where_it_was() -> None:
    desk = controls(SIZE, DARK)
    assert len(desk.take([frame(s1=9, s3=255)])) == 2
    assert desk.take([frame(alive=False)]) == [], "neither the zeros that are shown nor anything else"
    assert desk.take([frame(s1=9, s3=255)]) == []
    assert desk.take([frame(s1=9)]) == [("/dark", (0,))]


def test_a_universe_that_was_lost_before_it_was_heard_asks_for_nothing() -> None:
    assert controls(SIZE).take([frame(alive=False, s1=3)]) == []


# Switches


def test_a_switch_goes_on_above_and_off_below_and_once_each() -> None:
    on, off = ("/dark", (1,)), ("/dark", (0,))
    assert said(controls(DARK), [0, 117, 127, 128, 255, 127, 117, 116, 0, 127, 128], "s3") == [on, off, on]


def test_at_first_a_switch_is_sent_only_if_it_is_above() -> None:
    assert said(controls(DARK), [120, 127], "s3") == []
    assert said(controls(DARK), [128], "s3") == [("/dark", (1,))]


def test_a_switch_with_nothing_below_its_threshold_goes_off_at_zero() -> None:
    low = replace(DARK, above=5, below=0)
    assert said(controls(low), [6, 1, 0, 6], "s3") == [("/dark", (1,)), ("/dark", (0,)), ("/dark", (1,))]


def test_a_switch_on_an_address_that_takes_nothing_sends_it_alone_each_time_it_goes_above() -> None:
    take = controls(Control(((60, 1),), "/target/lead/take", above=127, below=117))
    assert said(take, (0, 200, 130, 255, 0, 200)) == [("/target/lead/take", ())] * 2


def test_a_switch_of_16_bits_compares_both_bytes() -> None:
    fine = replace(DARK, bits=16, above=0x8000, below=0x7000)
    desk = controls(fine)
    assert desk.take([frame(s3=0x80, s4=0)]) == []
    assert desk.take([frame(s3=0x80, s4=1)]) == [("/dark", (1,))]
    assert desk.take([frame(s3=0x70, s4=0)]) == []
    assert desk.take([frame(s3=0x6F, s4=255)]) == [("/dark", (0,))]


trembles = st.lists(st.sampled_from([-1, 0, 1]), min_size=1, max_size=40)


@given(st.integers(2, 254), st.data(), trembles)
def test_a_switch_does_not_chatter_at_either_of_its_thresholds(
    above: int, data: st.DataObject, trembling: list[int]
) -> None:
    below = data.draw(st.integers(1, above - 1))
    for edge in (above, below):
        for before in (0, 255):
            desk = controls(Control(((60, 1),), "/dark", above=above, below=below))
            said(desk, [before])
            assert len(said(desk, [edge + by for by in trembling])) <= 1


# Choices


def test_a_choice_is_sent_when_its_band_is_entered() -> None:
    two, one, none = (("/target/lead/crew", args) for args in (("foh-1", "foh-2"), ("foh-1",), ()))
    desk = controls(CREW)
    assert said(desk, [0, 9, 10, 60, 127, 128, 199, 200, 255], "s9") == [two, one, none]
    assert said(desk, [199, 198, 197], "s9") == [one], "it is kept 2 below its lowest value"
    assert said(desk, [0, 9], "s9") == [], "below the first band nothing is chosen"
    assert said(desk, [10], "s9") == [two]


def test_the_band_that_is_sent_at_first_is_the_one_the_fader_stands_in() -> None:
    assert said(controls(CREW), [150], "s9") == [("/target/lead/crew", ("foh-1",))]
    assert said(controls(CREW), [9], "s9") == []


def test_the_lowest_value_of_a_band_always_chooses_it_also_where_bands_are_narrow() -> None:
    narrow = Control(((60, 1),), "/target/lead/size", choose=((1, ("a",)), (2, ("b",)), (3, ("c",))))
    sizes = [args[0] for _, args in said(controls(narrow), [3, 2, 1, 0, 1, 3, 1])]
    assert sizes == ["c", "b", "a", "a", "c", "a"]


@given(st.integers(1, 254), trembles)
def test_a_choice_does_not_chatter_wherever_a_fader_trembles(at: int, trembling: list[int]) -> None:
    desk = controls(CREW)
    said(desk, [at], "s9")
    assert len(said(desk, [at + by for by in trembling], "s9")) <= 1


# Signs of life


def test_a_desk_that_sits_still_is_a_sign_of_life_only_if_it_says_so() -> None:
    sits, shows = controls(SIZE), controls(replace(SIZE, alive=True))
    for desk in (sits, shows):
        desk.take([frame(s1=1)])
    times_s = [1.0 + 0.023 * n for n in range(100)]
    assert [one for at_s in times_s for one in sits.alive(at_s)] == []
    signs_s = [at_s for at_s in times_s if shows.alive(at_s) == [("/target/lead/alive", ())]]
    gaps_s = [b - a for a, b in itertools.pairwise(signs_s)]
    assert signs_s[0] == 1.0
    assert min(gaps_s) >= RENEW_S - 1e-9
    assert max(gaps_s) <= 0.5


def test_no_sign_of_life_before_the_desk_is_heard_nor_while_it_is_lost() -> None:
    desk = controls(replace(SIZE, alive=True), replace(PLACE, alive=True))
    assert desk.alive(0.0) == []
    desk.take([frame()])
    assert desk.alive(1.0) == [("/target/lead/alive", ())], "once for the target, not for each control"
    desk.take([frame(alive=False)])
    assert desk.alive(2.0) == []
    desk.take([frame()])
    assert desk.alive(3.0) == [("/target/lead/alive", ())]


def test_a_velocity_that_is_held_is_said_again_before_it_ends() -> None:
    speed = Control(((60, 1),), "/target/lead/velocity", 8, (-255.0,), (255.0,), alive=True)
    desk = controls(speed)
    desk.take([frame(s1=255)])
    assert desk.alive(1.0) == [("/target/lead/velocity", (255.0,))]


# The guide


@pytest.mark.parametrize("octets", [1, 2, 3])
def test_the_guides_angles_are_those_of_its_profile(octets: int) -> None:
    """Common arithmetic: `from` at DMX 0, `to` at full, and either may be the larger."""
    show = small_show()
    head = show.fixtures[0]
    channels = {"pan": tuple(range(1, 1 + octets)), "tilt": tuple(range(4, 4 + octets)), "dimmer": (9,)}
    profile = replace(head.profile, channels=channels, pan=Axis(270.0, -270.0), tilt=Axis(-135.0, 135.0))
    head = replace(head, profile=profile, universe=1, address=11)
    desk = Controls(DeskSettings("overlay", {1: 101}, guide=DeskGuide(head.name, "lead")), [head])
    at = "/target/lead/pointing"
    assert desk.take([frame(101)]) == [(at, (head.name, 270.0, -135.0))]
    full = {f"s{10 + offset}": 255 for name in ("pan", "tilt") for offset in channels[name]}
    assert desk.take([frame(101, **full)]) == [(at, (head.name, -270.0, 135.0))]
    assert desk.take([frame(101, s19=200, **full)]) == [], "its dimmer steers nothing"
    ((_, (_, pan, tilt)),) = desk.take([frame(101, s11=64, s14=192)])
    step = 256 ** (octets - 1)
    assert pan == pytest.approx(270 - 540 * 64 * step / (256**octets - 1))
    assert tilt == pytest.approx(-135 + 270 * 192 * step / (256**octets - 1))


def test_a_guide_leads_where_its_own_beam_meets_the_floor() -> None:
    door = small_door()
    fixture = small_show().fixtures[0]
    desk = controls(guide=DeskGuide(fixture.name, "lead"))
    profile, universe = fixture.profile, {1: 101, 2: 102}[fixture.universe]
    places = {name: profile.channels[name] for name in ("pan", "tilt")}
    say(door, 0.5, "/target/lead/position", 1.0, 3.0)
    run(door, 0.5, 200)
    assert door.engine.frame is not None
    raw = door._made.encoder.raw(door.engine.frame)[:, 0].tolist()
    slots = {
        f"s{fixture.address + offset - 1}": (value >> 8 * (len(offsets) - 1 - place)) & 255
        for (_, offsets), value in zip(places.items(), raw, strict=False)
        for place, offset in enumerate(offsets)
    }
    (message,) = messages(desk.take([frame(universe, **slots)]), 30.0)
    door.apply(message)
    run(door, 30.0, 2)
    (target, *_) = door.engine.place.status(30.1)
    assert (target.x, target.y) == pytest.approx((1.0, 3.0), abs=0.01)


def test_a_cue_that_jumps_out_of_a_fade_is_no_stray_though_it_is_said_once() -> None:
    """From one packet to the next across the stage: a performer's observation would be held back, a desk's is not."""
    door, desk = small_door(), controls(PLACE)
    for number in range(40):
        for message in messages(desk.take([frame(s5=128, s7=100 + number)]), 1.0 + number / 44):
            door.apply(message)
        run(door, 1.0 + number / 44, 1)
    (message,) = messages(desk.take([frame(s5=0, s7=255, s8=255)]), 2.0)
    door.apply(message)
    run(door, 2.0, 3)
    (target, *_) = door.engine.place.status(2.1)
    assert (target.x, target.y) == pytest.approx((-6.0, 8.0), abs=0.05)


def test_a_guide_that_stands_still_is_a_sign_of_life_only_if_it_says_so() -> None:
    head = small_show().fixtures[0]
    for alive in (False, True):
        desk = controls(guide=DeskGuide(head.name, "lead", alive))
        desk.take([frame(101)])
        assert desk.alive(1.0) == ([("/target/lead/alive", ())] if alive else [])
        desk.take([frame(101)._replace(alive=False)])
        assert desk.alive(2.0) == []


# What is kept


def test_taken_up_again_it_goes_on_as_if_nothing_had_been() -> None:
    alive = replace(SIZE, alive=True)
    frames = [frame(s1=9, s3=200, s9=150), frame(s1=9, s3=120, s9=126), frame(s1=9, s3=100, s9=20, s5=4)]
    first = controls(alive, DARK, CREW, PLACE)
    first.take(frames[:1])
    first.alive(1.0)
    second = controls(alive, DARK, CREW, PLACE)
    second.restore(json.loads(json.dumps(first.state())))
    for desk_frame in frames[1:]:
        assert second.take([desk_frame]) == first.take([desk_frame])
    assert [second.alive(at_s) for at_s in (1.1, 1.5)] == [first.alive(at_s) for at_s in (1.1, 1.5)]
    assert second.state() == first.state()


def test_a_show_that_is_read_again_says_only_what_is_new_in_it() -> None:
    before = controls(SIZE, DARK)
    before.take([frame(s1=9, s3=200, s9=150)])
    after = controls(CREW, DARK, replace(SIZE, last=(9.0,)))
    (crew, size) = after.take_over(before)
    assert crew == ("/target/lead/crew", ("foh-1",))
    assert size[0] == "/target/lead/size"
    assert after.take([frame(s1=9, s3=100, s9=150)]) == [("/dark", (0,))]


def test_messages_come_in_the_files_order() -> None:
    found = controls(CREW, SIZE, DARK).take([frame(s1=1, s3=255, s9=50)])
    assert [address for address, _ in found] == ["/target/lead/crew", "/target/lead/size", "/dark"]
