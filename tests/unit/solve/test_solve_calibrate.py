"""The whole solve on made-up rigs: poses, marks, refusals, doubts, carried trusses, both faces."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest

from bridge.errors import ShowError, UnsolvableError
from bridge.geometry.frames import quaternion_from_rotation
from bridge.geometry.stage import Datum, Mark, Tape
from bridge.rig.fixture import Hang, Pose
from bridge.solve.calibrate import calibrate
from bridge.solve.carry import CarriedPose
from bridge.solve.document import poses_document, solve_json
from bridge.solve.next_marks import good_first_marks
from bridge.solve.relabel import symmetric_orders
from bridge.solve.words import suspect_words
from tests.unit.solve import rigs_for_solve as rigs

FIVE = rigs.FIVE


def solve(heads, places, sightings, mount="hanging", stage=None, **more):
    return calibrate(rigs.fixtures(heads, mount, **more), stage or rigs.stage(places), sightings)


@pytest.mark.parametrize("mount", ["hanging", "standing", "side"])
@pytest.mark.parametrize("marks", [2, 3, 5])
def test_without_noise_every_mount_comes_out_exactly(mount, marks):
    rng = np.random.default_rng(marks)
    heads = rigs.rig(rng, 4, mount, level_deg=0.0)
    answer = solve(heads, FIVE[:marks], rigs.sight(rng, heads, FIVE[:marks], hand=0.0), mount)
    assert answer.trusted
    for i, head in enumerate(heads):
        solved = answer.fixtures[f"h{i}"]
        assert np.allclose(solved.position, head.p, atol=1e-4)
        assert np.max(rigs.aim_misses(head, solved)) < 1e-4
        assert solved.verified == (marks > 3)  # three check something, but half a metre of aim could hide


@pytest.mark.parametrize("seed", range(3))
def test_standing_heads_near_the_floor(seed):
    rng = np.random.default_rng(seed)
    heads = [replace(h, p=np.array([h.p[0], h.p[1], 0.6])) for h in rigs.rig(rng, 4, "standing")]
    answer = solve(heads, FIVE, rigs.sight(rng, heads, FIVE, hand=0.01), "standing")
    for i, head in enumerate(heads):
        assert np.sqrt(np.mean(rigs.aim_misses(head, answer.fixtures[f"h{i}"]) ** 2)) < 0.05


def test_a_wrong_word_in_the_plot_does_not_cost_the_pose():
    rng = np.random.default_rng(1)
    heads = rigs.rig(rng, 3, "standing")
    answer = solve(heads, FIVE, rigs.sight(rng, heads, FIVE), "hanging")
    assert np.sqrt(np.mean(rigs.aim_misses(heads[0], answer.fixtures["h0"]) ** 2)) < 0.1
    assert any("hang" in note for note in answer.notes)


def test_two_marks_that_contradict_the_hang_are_refused():
    rng = np.random.default_rng(1)
    heads = rigs.rig(rng, 3, "standing")
    with pytest.raises(UnsolvableError, match="hang"):
        solve(heads, FIVE[:2], rigs.sight(rng, heads, FIVE[:2]), "hanging")


def unsurveyed(**more):
    return rigs.stage([Mark(n, None, height=0.0) for n in "ABCDE"], **more)


def test_three_tapes_stand_in_for_a_survey():
    rng = np.random.default_rng(5)
    heads = rigs.rig(rng, 4)
    places = np.array([(0, 0, 0), (11, 0, 0), (11, 7, 0), (0.5, 7.5, 0), (5, 4, 0)], float)
    tapes = tuple(
        Tape((rigs.NAMES[a], rigs.NAMES[b]), float(np.linalg.norm(places[a] - places[b])))
        for a, b in ((0, 1), (0, 2), (1, 3))
    )
    place = unsurveyed(datum=Datum("A", "B"), tapes=tapes)
    answer = solve(heads, places, rigs.sight(rng, heads, places, hand=0.005), stage=place)
    for name, at in zip(rigs.NAMES, places, strict=False):
        assert np.allclose(answer.marks[name], at, atol=0.03)
    assert answer.marks["A"][:2] == pytest.approx((0, 0), abs=1e-4)
    assert answer.marks["B"][1] == pytest.approx(0, abs=1e-4)


def test_a_tape_to_a_fixture_gives_the_length_too():
    rng = np.random.default_rng(6)
    heads = rigs.rig(rng, 3, level_deg=0.0)
    places = np.array([(0, 0, 0), (11, 0, 0), (11, 7, 0), (0.5, 7.5, 0), (5, 4, 0)], float)
    tape = Tape(("A", "h1"), float(np.linalg.norm(heads[1].p)))
    answer = solve(
        heads, places, rigs.sight(rng, heads, places, hand=0.0), stage=unsurveyed(datum=Datum("A", "B"), tapes=(tape,))
    )
    assert np.allclose(answer.marks["C"], places[2], atol=0.02)


@pytest.mark.parametrize(
    ("what", "words"),
    [
        ("length", "tape"),
        ("frame", "datum"),
        ("one mark", "second mark"),
        ("nothing", "no sightings"),
        ("level", "level"),
    ],
)
def test_what_cannot_be_fixed_is_refused_with_what_would(what, words):
    rng = np.random.default_rng(2)
    heads = rigs.rig(rng, 3)
    all_marks = rigs.sight(rng, heads, FIVE)
    fixtures = rigs.fixtures(heads)
    place, sightings = rigs.stage(FIVE), all_marks
    if what == "length":
        place = unsurveyed(datum=Datum("A", "B"))
    elif what == "frame":
        place = unsurveyed(tapes=(Tape(("A", "B"), 12.0),))
    elif what == "one mark":
        sightings = [s for s in all_marks if s.mark == "A"]
    elif what == "nothing":
        sightings = []
    else:  # marks in line and nobody knows how level the base is
        sightings = [s for s in all_marks if s.mark in "AB"]
        fixtures = [replace(f, hang=Hang(sigma=60.0)) for f in fixtures]
    with pytest.raises(UnsolvableError, match=words):
        calibrate(fixtures, place, sightings)


def test_a_fixture_with_one_sighting_is_named_and_the_rest_solved():
    rng = np.random.default_rng(3)
    heads = rigs.rig(rng, 4)
    sightings = [s for s in rigs.sight(rng, heads, FIVE) if s.fixture != "h2" or s.mark == "B"]
    answer = solve(heads, FIVE, sightings)
    assert set(answer.fixtures) == {"h0", "h1", "h3"}
    assert "second mark" in answer.unsolved["h2"]


def test_every_bad_sighting_is_told_at_once_with_its_line():
    rng = np.random.default_rng(3)
    heads = rigs.rig(rng, 2)
    good = rigs.sight(rng, heads, FIVE)
    bad = [
        replace(good[0], fixture="nobody", where="s:1"), replace(good[1], mark="Z", where="s:2"),
        replace(good[2], pan=float("nan"), where="s:3"), replace(good[3], tilt=400.0, where="s:4"),
        replace(good[4], where="s:5"),
    ]  # fmt: skip
    with pytest.raises(ShowError) as told:
        calibrate(rigs.fixtures(heads), rigs.stage(FIVE), [*good, *bad])
    for n in range(1, 6):
        assert any(line.startswith(f"s:{n}: ") for line in told.value.lines), n


def change(sightings, fixture, mark, **values):
    return [replace(s, **values) if (s.fixture, s.mark) == (fixture, mark) else s for s in sightings]


def test_a_wrong_sighting_is_named_and_kept():
    rng = np.random.default_rng(4)
    heads = rigs.rig(rng, 4)
    good = rigs.sight(rng, heads, FIVE)
    tilt = next(s.tilt for s in good if (s.fixture, s.mark) == ("h1", "C"))
    answer = solve(heads, FIVE, change(good, "h1", "C", tilt=tilt + 3))
    assert not answer.trusted
    assert [(s.fixture, s.mark, s.kind, s.sure) for s in answer.suspects] == [("h1", "C", "sighting", True)]
    assert "C" in answer.fixtures["h1"].residuals
    assert not answer.fixtures["h1"].trusted
    assert answer.fixtures["h0"].trusted


def test_a_sighting_booked_to_the_wrong_mark_is_named_with_the_right_one():
    rng = np.random.default_rng(5)
    heads = rigs.rig(rng, 4)
    good = rigs.sight(rng, heads, FIVE)
    other = next(s for s in good if (s.fixture, s.mark) == ("h2", "D"))
    answer = solve(heads, FIVE, change(good, "h2", "B", pan=other.pan, tilt=other.tilt + 0.1))
    assert [(s.fixture, s.mark, s.kind, s.instead) for s in answer.suspects] == [("h2", "B", "wrong-mark", "D")]
    assert answer.suspects[0].misfit > 5


def test_two_marks_exchanged_for_all_and_for_one():
    rng = np.random.default_rng(6)
    heads = rigs.rig(rng, 4)
    good = rigs.sight(rng, heads, FIVE)
    swapped = [FIVE[1], FIVE[0], *FIVE[2:]]
    answer = solve(heads, swapped, good)
    assert [(s.fixture, {s.mark, s.instead}, s.kind) for s in answer.suspects] == [(None, {"A", "B"}, "swap")]
    exchange = {"A": "C", "C": "A"}
    mine = [replace(s, mark=exchange.get(s.mark, s.mark)) if s.fixture == "h0" else s for s in good]
    answer = solve(heads, FIVE, mine)
    assert [(s.fixture, {s.mark, s.instead}, s.kind) for s in answer.suspects] == [("h0", {"A", "C"}, "swap")]


def test_a_mis_surveyed_mark_is_named_with_its_place():
    rng = np.random.default_rng(7)
    heads = rigs.rig(rng, 9)
    wrong = [*FIVE[:2], (6.3, 8.0, 0), *FIVE[3:]]
    answer = solve(heads, wrong, rigs.sight(rng, heads, FIVE))
    assert [(s.mark, s.kind) for s in answer.suspects] == [("C", "mark")]
    assert answer.suspects[0].misfit == pytest.approx(0.3, abs=0.08)


@pytest.mark.parametrize(
    ("pan", "tilt", "words"),
    [
        (-1, 1, "pan runs the other way"),
        (540 / 630, 1, "pan .* 6[23][0-9] deg"),
        (1, 360 / 270, "tilt .* 2[5-8][0-9] deg"),
        (0.8, 0.8, "unit"),
    ],
)
def test_a_profile_that_lies_is_named(pan, tilt, words):
    rng = np.random.default_rng(8)
    heads = rigs.rig(rng, 4)
    good = rigs.sight(rng, heads, [*FIVE, (2, 2, 0)])
    mine = [replace(s, pan=s.pan * pan, tilt=s.tilt * tilt) if s.fixture == "h1" else s for s in good]
    answer = solve(heads, [*FIVE, (2, 2, 0)], mine)
    assert {(s.fixture, s.kind) for s in answer.suspects} == {("h1", "profile")}
    assert re.search(words, suspect_words(answer.suspects[0]))


def test_marks_taken_from_the_opposite_corner_show_against_rough_positions():
    rng = np.random.default_rng(9)
    heads = rigs.rig(rng, 4)
    square = FIVE[:4]
    turned = [FIVE[2], FIVE[3], FIVE[0], FIVE[1]]
    fixtures = [replace(f, at=tuple(h.p + 0.3)) for f, h in zip(rigs.fixtures(heads), heads, strict=True)]
    answer = calibrate(fixtures, rigs.stage(turned), rigs.sight(rng, heads, square))
    assert {s.kind for s in answer.suspects} == {"corner"}
    answer = calibrate(rigs.fixtures(heads), rigs.stage(turned), rigs.sight(rng, heads, square))
    assert any("opposite" in text for text in answer.advice)


def test_three_marks_tell_only_that_something_is_wrong():
    rng = np.random.default_rng(10)
    heads = rigs.rig(rng, 3)
    good = rigs.sight(rng, heads, FIVE[:3])
    tilt = next(s.tilt for s in good if (s.fixture, s.mark) == ("h1", "C"))
    answer = solve(heads, FIVE[:3], change(good, "h1", "C", tilt=tilt + 3))
    assert not answer.trusted
    assert not any(s.sure for s in answer.suspects)


def test_both_faces_switch_the_mechanical_terms_on():
    rng = np.random.default_rng(11)
    heads = rigs.rig(rng, 3, terms=True)
    answer = solve(heads, FIVE, rigs.sight(rng, heads, FIVE, hand=0.003, faces=((1, None), (2, (0, 2, 4)))))
    for i, head in enumerate(heads):
        solved = answer.fixtures[f"h{i}"]
        assert solved.faces == (1, 2)
        assert {"A", "A/2", "C/2", "E/2"} <= set(solved.residuals)
        assert solved.mechanics.tilt_zero == pytest.approx(np.degrees(head.terms[0]), abs=0.2)
        for face in (1, 2):
            assert np.sqrt(np.mean(rigs.aim_misses(head, solved, face) ** 2)) < 0.025


def test_one_face_leaves_the_terms_out():
    rng = np.random.default_rng(11)
    heads = rigs.rig(rng, 2)
    answer = solve(heads, FIVE, rigs.sight(rng, heads, FIVE))
    assert answer.fixtures["h0"].faces == (1,)
    assert answer.fixtures["h0"].mechanics is None


def moved(heads, rng):
    """The same truss somewhere else: earlier poses by name and the heads as they hang now."""
    earlier = {
        f"h{i}": CarriedPose(Pose(tuple(h.p), tuple(quaternion_from_rotation(h.R)))) for i, h in enumerate(heads)
    }
    middle, turn = np.mean([h.p for h in heads], axis=0), rigs.rz(0.2)
    now = [replace(h, p=turn @ (h.p - middle) + middle + [0.6, -0.4, 0.3], R=turn @ h.R) for h in heads]
    return earlier, now


def test_a_truss_that_kept_its_shape_needs_one_sighting_a_head():
    rng = np.random.default_rng(12)
    earlier, now = moved(rigs.rig(rng, 4), rng)
    sightings = [s for s in rigs.sight(rng, now, FIVE, hand=0.0) if s.mark == "ABCD"[int(s.fixture[1])]]
    answer = calibrate(rigs.fixtures(now, truss="t"), rigs.stage(FIVE), sightings, earlier)
    assert set(answer.fixtures) == {"h0", "h1", "h2", "h3"}
    for i, head in enumerate(now):
        assert answer.fixtures[f"h{i}"].carried_over == "t"
        assert np.max(rigs.aim_misses(head, answer.fixtures[f"h{i}"])) < 0.02


def test_a_head_that_slipped_on_its_truss_is_let_go():
    rng = np.random.default_rng(13)
    earlier, now = moved(rigs.rig(rng, 4), rng)
    now[2] = replace(now[2], p=now[2].p + np.array([0.5, 0, 0]))
    answer = calibrate(rigs.fixtures(now, truss="t"), rigs.stage(FIVE), rigs.sight(rng, now, FIVE, hand=0.005), earlier)
    assert answer.fixtures["h2"].carried_over is None
    assert any("h2" in note and "truss t" in note for note in answer.notes)
    assert np.max(rigs.aim_misses(now[2], answer.fixtures["h2"])) < 0.05


def test_next_marks_promise_what_they_keep():
    rng = np.random.default_rng(14)
    heads = rigs.rig(rng, 4)
    answer = solve(heads, FIVE[:3], rigs.sight(rng, heads, FIVE[:3]))
    best = answer.next_marks[0]
    more = [*FIVE[:3], best.at]
    after = solve(heads, more, rigs.sight(rng, heads, more))
    assert after.rms == pytest.approx(best.after, rel=0.1)
    assert best.after < best.before


def test_first_marks_are_far_out_inside_and_not_symmetric():
    places = np.array(good_first_marks(rigs.stage([])))
    assert len(places) == 5
    assert np.linalg.norm(places[0] - places[1]) == pytest.approx(np.hypot(12, 8), abs=0.2)
    assert np.all((np.abs(places[:, 0]) <= 6) & (places[:, 1] >= 0) & (places[:, 1] <= 8))
    assert symmetric_orders(places, 0.5) == []


def test_a_mark_far_outside_is_warned_of():
    rng = np.random.default_rng(15)
    heads = rigs.rig(rng, 3)
    places = [*FIVE[:4], (0, 60, 0)]
    answer = solve(heads, places, rigs.sight(rng, heads, places))
    assert any("mark E" in text and "outside" in text for text in answer.advice)


def test_documents_hold_plain_finite_data_and_keep_old_poses():
    rng = np.random.default_rng(16)
    heads = rigs.rig(rng, 3)
    sightings = [s for s in rigs.sight(rng, heads, FIVE) if s.fixture != "h2" or s.mark == "A"]
    answer = solve(heads, FIVE, sightings)
    document = json.loads(json.dumps(solve_json(answer), allow_nan=False))
    assert set(document) >= {"trusted", "fixtures", "marks", "suspects", "next_marks", "advice"}
    old = {"h2": Pose((1.0, 2.0, 3.0), (0.0, 0.0, 0.0, 1.0))}
    written = poses_document(answer, rigs.fixtures(heads), old, {}, {}, "abc", "now")
    assert written["fixtures"]["h2"]["position"] == [1.0, 2.0, 3.0]
    assert np.linalg.norm(written["fixtures"]["h0"]["rotation"]) == pytest.approx(1, abs=1e-6)


def test_terms_that_a_type_shares_help_heads_sighted_on_one_face():
    rng = np.random.default_rng(21)
    heads = rigs.rig(rng, 8)
    for head in heads:
        head.terms[0] = np.radians(0.7) + np.radians(0.03) * rng.standard_normal()
    both = rigs.sight(rng, heads[:6], FIVE, hand=0.01, faces=((1, None), (2, (0, 2))))
    one = [s for s in rigs.sight(rng, heads, FIVE, hand=0.01) if s.fixture in ("h6", "h7")]
    answer = solve(heads, FIVE, [*both, *one])
    assert any("tilt_zero" in note for note in answer.notes)
    for i in (6, 7):
        solved = answer.fixtures[f"h{i}"]
        assert solved.faces == (1,)
        assert solved.mechanics.tilt_zero == pytest.approx(0.7, abs=0.15)
        assert np.sqrt(np.mean(rigs.aim_misses(heads[i], solved, 2) ** 2)) < 0.08  # plain: some 25 cm


def test_unlike_units_share_nothing():
    rng = np.random.default_rng(22)
    heads = rigs.rig(rng, 5, terms=True)
    answer = solve(heads, FIVE, rigs.sight(rng, heads, FIVE, hand=0.01, faces=((1, None), (2, (0, 2)))))
    assert not any("share" in note for note in answer.notes)


def test_previous_poses_are_carried_only_where_the_truss_is_seen_to_have_moved():
    rng = np.random.default_rng(23)
    heads = rigs.rig(rng, 4)
    earlier, now = moved(heads, rng)
    fixtures, place = rigs.fixtures(now, truss="t"), rigs.stage(FIVE)
    here = [s for s in rigs.sight(rng, now, FIVE, hand=0.005) if s.fixture != "h3"]
    answer = calibrate(fixtures, place, here, earlier, carry_only_where_needed=True)
    assert np.max(rigs.aim_misses(now[3], answer.fixtures["h3"])) < 0.1
    still = [s for s in rigs.sight(rng, heads, FIVE, hand=0.005) if s.fixture != "h3"]
    answer = calibrate(fixtures, place, still, earlier, carry_only_where_needed=True)
    assert set(answer.fixtures) == {"h0", "h1", "h2"}
    assert "h3" in answer.unsolved


def test_marks_in_line_are_said_and_left_unverified():
    rng = np.random.default_rng(24)
    heads = rigs.rig(rng, 3)
    line = [(-5, 3, 0), (0, 3, 0), (5, 3, 0)]
    answer = solve(heads, line, rigs.sight(rng, heads, line))
    assert not any(f.verified for f in answer.fixtures.values())
    assert all(any("level" in text for text in f.rests_on) for f in answer.fixtures.values())
    assert any("one line" in text for text in answer.advice)
