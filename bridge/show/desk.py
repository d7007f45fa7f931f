"""Schema of `desk:`: in network.yaml how we send beside a desk, in rig.yaml what of one fixture is ours."""

from __future__ import annotations

from bridge.rig.fixture import DeskShare
from bridge.rig.profile import CHANNEL_NAMES
from bridge.show.controls import read_control
from bridge.show.keys import KeyReader
from bridge.show.names import each, entries
from bridge.show.problems import Bad, Problem, shown
from bridge.show.scalars import resolve
from bridge.show.values import MOST_UNIVERSE, Parse, bad, choice, list_of, name, switch, whole
from bridge.show.yaml12 import Node
from bridge.wire.settings import DeskGuide, DeskSettings

_universe = whole(1, MOST_UNIVERSE)
_dimmer = choice("multiply", "ours")


def desk_settings(interface: Parse[str]) -> Parse[DeskSettings | None]:
    """Reader of network.yaml's `desk:`; `interface` reads an interface."""

    def parse(node: Node) -> DeskSettings | None:
        m, default = KeyReader(node, "a mapping with way and universes"), DeskSettings()
        settings = DeskSettings(
            way=m.optional("way", choice("overlay", "by-slot"), default.way),
            universes=m.optional("universes", _universes, {}),
            interface=m.optional("interface", interface, None),
            own=m.optional("own", channels, default.own),
            dimmer=m.optional("dimmer", _dimmer, default.dimmer),
            lost=m.optional("lost", choice("hold", "dark"), default.lost),
            controls=tuple(m.optional("controls", list_of(read_control, what="a list of controls, a list"), [])),
            guide=m.optional("guide", _guide, None),
        )
        if settings.way == "overlay" and m.good("way", "universes") and not settings.universes:
            text = "found no universes with way overlay, allowed is ours: the desk's that is laid under it, as {1: 101}"
            m.problem(Problem(m.node.line_of("universes"), text))
        m.done()
        return settings

    return parse


def desk_share(node: Node) -> DeskShare:
    """A fixture's own `desk:`."""
    m = KeyReader(node, "a mapping with own and dimmer")
    share = DeskShare(m.optional("own", channels, None), m.optional("dimmer", _dimmer, None))
    m.done()
    return share


def channels(node: Node) -> tuple[str, ...]:
    """Channels of ours, each once."""
    found = tuple(list_of(choice(*CHANNEL_NAMES), 1, what="a list of channels such as [pan, tilt], a list")(node))
    doubled = next((channel for channel in found if found.count(channel) > 1), None)
    if doubled:
        raise bad(node, f"each channel once ({doubled} is there twice)")
    return found


def _universes(node: Node) -> dict[int, int]:
    """The desk's universe by ours."""
    out: dict[int, int] = {}

    def one(key: str, child: Node) -> None:
        ours = resolve(key)
        if isinstance(ours, bool) or not isinstance(ours, int) or not 1 <= ours <= MOST_UNIVERSE or ours in out:
            text = f"found our universe '{shown(key)}', allowed is each of 1 to {MOST_UNIVERSE}, once"
            raise Bad([Problem(node.line_of(key), text)])
        out[ours] = _universe(child)

    each(entries(node, "a mapping of our universes to the desk's, such as {1: 101}"), one)
    return out


def _guide(node: Node) -> DeskGuide:
    m = KeyReader(node, "a mapping with fixture and target")
    guide = DeskGuide(
        m.required("fixture", name, ""), m.required("target", name, ""), m.optional("alive", switch, False)
    )
    m.done()
    return guide
