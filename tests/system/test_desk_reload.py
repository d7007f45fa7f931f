"""Reloads while a desk fades: it is added, its universes change, its way changes, it is removed; no lit beam jumps.

All of it is recorded, both ways, and replays byte for byte. What the show pays: an overlay waits for the desk it was
told to lie over (E1.31's sampling, 1.5 s; receivers hold the last look) and its heads come in from the dark; by slot a
head has no light until the desk is heard there.
"""

from __future__ import annotations

import itertools
import json
import math
from contextlib import ExitStack
from pathlib import Path

from bridge.wire import e131
from tests.system.console import Console, console
from tests.system.daemon_process import Daemon, Node, stage
from tests.system.test_beside_desk import OURS
from tests.system.test_run_recorder import replay
from tests.system.test_run_reload import reload
from tests.system.wire_checks import armed_and_lit, moves_deg, raw

FIRST, SECOND = 30370, 30371
STAGES = (
    ("desk: {universes: {30370: 30380, 30371: 30381}}\n", 30380 % 256, 120, 3.5),
    ("desk: {universes: {30370: 30382, 30371: 30383}}\n", 30382 % 256, 120, 3.5),
    ("desk: {way: by-slot}\n", 0, 0, 3.5),
    ("", 0, 120, 1.0),
)
"""What network.yaml says, the level under ours then, the packets' priority, and seconds until all is well again."""


def fade(daemon: Daemon, node: Node, desks: list[Console], seconds: float) -> None:
    """The desks fade slots that are not ours, the performer stands."""
    for step in range(int(seconds * 30)):
        for levels in (levels for desk in desks for levels in desk.levels.values()):
            levels[200:500] = bytes([round(127 * (1 + math.sin(step / 9)))]) * 300
        if step % 15 == 0:
            daemon.say("/target/lead/position", 1.0, 4.0)
        node.hear(1 / 30)


def desk_on(stack: ExitStack, *universes: int) -> Console:
    """A desk with both heads up, and a level that tells its universes apart."""
    desk = stack.enter_context(console(*universes))
    for universe, levels in desk.levels.items():
        levels[7:9] = levels[107:109] = b"\xff\xff"
        levels[150] = universe % 256
    return desk


def ours(node: Node) -> list[e131.Data]:
    """Our levels on the first universe."""
    return [p for p in node.of(FIRST) if p.source_name == OURS and p.start_code == 0]


def test_a_desk_comes_changes_and_goes_while_heads_are_lit_and_it_replays(tmp_path: Path) -> None:
    captures = tmp_path / "captures"
    with stage(tmp_path, FIRST, SECOND) as (daemon, node), ExitStack() as stack:
        desks = [desk_on(stack, 30380, 30381, 30382, 30383)]
        network = daemon.show / "network.yaml"
        alone = network.read_text()
        armed_and_lit(daemon, node, "--record", str(captures))
        for text, under, priority, seconds in STAGES:
            if "by-slot" in text:
                desks.append(desk_on(stack, FIRST, SECOND))
            start = len(ours(node)) - 1
            network.write_text(alone + text)
            reload(daemon)
            fade(daemon, node, desks, seconds)
            packets = ours(node)[start:]
            assert max(moves_deg(packets)) < 0.02, f"{text} moved a beam that was lit"
            rise = max(raw(b, "dimmer") - raw(a, "dimmer") for a, b in itertools.pairwise(packets))
            assert rise < 0.5 * 65535, f"{text} brought light at once, and not by the fade of 0.3 s"
            last = packets[-1]
            assert (last.slots[150], last.priority, raw(last, "dimmer")) == (under, priority, 65535), text
            assert abs(raw(last, "pan") - raw(packets[0], "pan")) <= 1
        errors = [line for line in daemon.log.splitlines() if "ERROR" in line]
        stranger = 'are now also sent by "Console"'  # if it was heard before the reload that made it our desk
        assert [line for line in errors if stranger not in line] == []
        assert daemon.end() == 0
    document = json.loads(replay(*captures.glob("*.pcapng"), "--json").stdout)
    assert document["equal"] is True
    assert (document["different"], document["lost"]) == (0, 0)
    assert document["packets"] > 300
