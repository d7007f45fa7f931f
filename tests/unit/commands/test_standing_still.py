"""`check` says what a device that sends only changes must do where a lost input goes dark."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bridge.commands.findings import _standing_still
from bridge.wire.settings import LostInput
from tests.unit.door.stand_ins import small_show


@pytest.mark.parametrize(("then", "told"), [("dark", 1), ("hold", 0)])
def test_what_keeps_a_performer_who_stands_still_in_the_light_is_told(then: str, told: int) -> None:
    show = small_show()
    network = replace(show.network, lost_input=LostInput(after=1.5, then=then))
    found = list(_standing_still(replace(show, network=network)))
    assert len(found) == told
    for finding in found:
        assert (finding.level, finding.where) == ("note", "network.yaml")
        assert "1.5 s" in finding.what
        assert "/target/lead/alive every second" in finding.what
        assert "then: hold" in finding.what
