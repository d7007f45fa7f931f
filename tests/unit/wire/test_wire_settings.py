"""What stands where network.yaml is silent."""

from __future__ import annotations

from bridge.wire.settings import LostInput, Network, OscSettings, PanelSettings, SacnSettings


def test_the_defaults_are_those_of_the_contract() -> None:
    """design/interface.md, the example of network.yaml."""
    assert Network() == Network(
        OscSettings(host="127.0.0.1", port=9000, allow=("127.0.0.0/8",)),
        SacnSettings("127.0.0.1", (), 110, "Tetherlight", 44.0, None, "refuse"),
        panel=PanelSettings(host="127.0.0.1", port=8787),
        lost_input=LostInput(after=2.0, then="hold", fade=3.0),
        record=None,
    )
