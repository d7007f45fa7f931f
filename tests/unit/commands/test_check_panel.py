"""What `check` says of the panel."""

from __future__ import annotations

import pytest

from bridge.commands.panel_findings import about_the_panel
from bridge.wire.settings import Network, OscSettings, PanelSettings


def told(osc: OscSettings, panel: PanelSettings | None) -> list[tuple[str, str]]:
    return [tuple(said) for said in about_the_panel(Network(osc=osc, panel=panel))]


def test_the_usual_panel_is_not_worth_a_word() -> None:
    assert told(OscSettings(), PanelSettings()) == []
    assert told(OscSettings("0.0.0.0", 9000, ("10.0.0.0/8", "127.0.0.1/32")), PanelSettings()) == []


@pytest.mark.parametrize(
    ("host", "allow"), [("127.0.0.1", "10.0.0.0/8"), ("0.0.0.0", "10.0.0.0/8"), ("::", "127.0.0.0/8")]
)
def test_a_panel_that_the_bridge_would_not_hear_is_a_warning(host: str, allow: str) -> None:
    [(level, text)] = told(OscSettings(host, 9000, (allow,)), PanelSettings())
    assert level == "warning"
    assert "osc: allow" in text


def test_a_panel_on_the_network_is_told_with_its_key() -> None:
    [(level, text)] = told(OscSettings(), PanelSettings("10.0.0.5", 8787))
    assert level == "note"
    assert "key" in text


def test_no_panel_is_told() -> None:
    assert told(OscSettings(), None) == [("note", "panel: off; the bridge is operated by OSC alone")]
