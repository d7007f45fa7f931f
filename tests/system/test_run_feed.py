"""What the feed says: refusals to who was refused, trims, what is kept, actions; and the show lock."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from bridge.wire import osc
from tests.system.daemon_process import Client, stage
from tests.system.wire_checks import armed_and_lit, assert_whole, follow, lit, raw

LOCKED: tuple[tuple[str, tuple[osc.Argument, ...]], ...] = (
    ("/sight/a/point", (0.0, 30.0)),
    ("/sight/a/nudge", (0.1, 0.0)),
    ("/sight/a/near", ("A",)),
    ("/sight/a/level", (0.5,)),
    ("/sight/a/record", ("A",)),
    ("/sight/a/forget", ("A",)),
    ("/sight/solve", ()),
    ("/sight/a/accept", ()),
    ("/sight/back", ()),
    ("/walk", ("A",)),
    ("/walk/confirm", ("A",)),
    ("/arm", (0,)),
    ("/fixture/a/trim", (0.1, 0.1)),
    ("/truss/t/trim", (0.1, 0.1)),
    ("/floor/riser", (0.3,)),
    ("/frame/tags/solve", ()),
    ("/reload", ()),
)
TWO_HOSTS = '["127.0.0.1/32", "127.0.0.2/32"]'


def test_the_show_lock_refuses_what_belongs_before_the_show_and_tells_who_asked(tmp_path: Path) -> None:
    with stage(tmp_path, 30130, 30131) as (daemon, node):
        daemon.edit("network.yaml", '["127.0.0.1/32"]', TWO_HOSTS)
        floor = "floors: [{name: riser, corners: [[-6, 7], [-4, 7], [-4, 8], [-6, 8]], height: 0.6}]\n"
        daemon.edit("stage.yaml", "marks:", floor + "marks:")
        armed_and_lit(daemon, node)
        other = Client(daemon.port, "127.0.0.2")
        other.event("/feed/bridge")
        daemon.event("/feed/bridge")
        daemon.say("/lock", 1)
        daemon.event("/feed/bridge", lambda args: args[10] is True)
        before = node.of(30130)[-1].slots
        other.drop_old()
        for address, args in LOCKED:
            daemon.say(address, *args)
            told = daemon.event("/feed/refused", lambda args, a=address: args[0] == a)  # type: ignore[misc]
            assert told[1] == "locked", told
            assert "/lock 0" in str(told[2])
        other.say("/arm", 0)
        first = other.event("/feed/refused")
        assert first[:2] == ("/arm", "locked"), "what others were refused is none of its business"
        node.hear(0.5)
        assert node.of(30130)[-1].slots == before
        assert not (daemon.show / "sightings.yaml").exists()
        daemon.say("/dark", 1)  # what a show needs is not locked
        node.until(lambda packet: packet.universe == 30130 and not lit(packet))
        daemon.say("/dark", 0)
        daemon.say("/lock", 0)
        daemon.event("/feed/bridge", lambda args: args[10] is False)
        daemon.say("/fixture/a/trim", 0.5, 0.0)
        node.until(lambda packet: packet.universe == 30130 and packet.slots[:2] != before[:2])
        assert daemon.end() == 0
        other.close()


def test_a_trim_is_in_the_feed_until_it_is_set_to_nothing_and_survives_a_restart(tmp_path: Path) -> None:
    with stage(tmp_path, 30132, 30133) as (daemon, node):
        armed_and_lit(daemon, node)
        daemon.event("/feed/bridge")
        daemon.say("/fixture/a/trim", 0.25, -0.5)
        daemon.event("/feed/kept", lambda args: args == ("trim", 1))
        daemon.say("/truss/t/trim", 0.0, 0.125)
        daemon.event("/feed/kept", lambda args: args == ("trim", 1))
        assert daemon.event("/feed/trim", lambda args: args[0] == "fixture") == ("fixture", "a", 0.25, -0.5)
        assert daemon.event("/feed/trim", lambda args: args[0] == "truss") == ("truss", "t", 0.0, 0.125)
        assert daemon.end() == 0
        daemon.start().ready()
        assert daemon.event("/feed/trim", lambda args: args[0] == "fixture") == ("fixture", "a", 0.25, -0.5)
        daemon.say("/fixture/a/trim", 0.0, 0.0)
        daemon.say("/truss/t/trim", 0.0, 0.0)
        daemon.event("/feed/kept", lambda args: args == ("trim", 1))
        daemon.feed("/feed/bridge")
        with pytest.raises(AssertionError, match="no /feed/trim"):
            daemon.feed("/feed/trim", within_s=0.5)
        assert daemon.end() == 0


def test_an_action_is_on_the_wire_for_as_long_as_its_profile_says(tmp_path: Path) -> None:
    """`quiet-fans` of spot-16bit: slot 20 at 90 for 3 s, with the light on; `reset`: 240 for 5 s, dark for 45."""
    with stage(tmp_path, 30134, 30135) as (daemon, node):
        armed_and_lit(daemon, node)
        daemon.say("/fixture/a/act", "quiet-fans")
        node.until(lambda p: p.universe == 30134 and p.slots[19] == 90)
        begun_s = node.times(30134)[-1]
        assert lit(node.of(30134)[-1])
        node.until(lambda p: p.universe == 30134 and p.slots[19] == 0)
        assert node.times(30134)[-1] - begun_s == pytest.approx(3.0, abs=0.5)
        daemon.say("/fixture/b/act", "reset")
        node.until(lambda p: p.universe == 30135 and p.slots[119] == 240)
        assert not lit(node.of(30135)[-1], 101)
        daemon.event("/feed/bridge")
        daemon.say("/fixture/a/act", "explode")
        assert daemon.event("/feed/refused")[:2] == ("/fixture/a/act", "unknown-name")
        node.until(lambda p: p.universe == 30135 and p.slots[119] == 0)
        assert not lit(node.of(30135)[-1], 101), "it still moves by itself"
        for universe in node.universes:
            assert_whole(node, universe)
        assert daemon.end() == 0


FLASHES_HZ, FLASHES_S = 18.0, 5.0
KEYS: dict[str, tuple[tuple[osc.Argument, ...], tuple[osc.Argument, ...]]] = {
    "/level": ((0.0,), (1.0,)),
    "/dark": ((1,), (0,)),
    "/still": ((1,), (0,)),
    "/target/lead/level": ((0.0,), (1.0,)),
    "/fixture/a/level": ((0.0,), (1.0,)),
}


@pytest.mark.parametrize("address", KEYS)
def test_a_key_that_sticks_makes_no_head_flash(tmp_path: Path, address: str) -> None:
    """W3C, WCAG 2.2, success criterion 2.3.1: at most three flashes in any second."""
    with stage(tmp_path, 30136, 30137) as (daemon, node):
        armed_and_lit(daemon, node)
        start = {universe: len(node.of(universe)) for universe in node.universes}
        for step in range(int(2 * FLASHES_HZ * FLASHES_S)):
            daemon.say(address, *KEYS[address][step % 2])
            node.hear(0.5 / FLASHES_HZ)
        for universe, head in zip(node.universes, (1, 101), strict=True):
            packets, times = node.of(universe)[start[universe] :], node.times(universe)[start[universe] :]
            levels = [raw(packet, "dimmer", head) for packet in packets]
            rises = [at_s for at_s, (a, b) in zip(times[1:], itertools.pairwise(levels), strict=True) if a == 0 < b]
            within = max((sum(at_s <= t < at_s + 1.0 for t in rises) for at_s in rises), default=0)
            assert within <= 3, f"{address}: {within} rises within a second on {universe}"
            if universe == 30136:
                assert 0 in levels, "going dark is never held back"
        follow(daemon, node)
        assert daemon.end() == 0
