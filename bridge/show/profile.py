"""Schema of `profiles/*.yaml`: one mode of one fixture type."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise

from bridge.rig.profile import CHANNEL_NAMES, REQUIRED_CHANNELS, Action, Axis, Profile, ZoomTable
from bridge.show.folder import versioned
from bridge.show.keys import KeyReader
from bridge.show.names import by_name, slots
from bridge.show.problems import Problem
from bridge.show.values import bad, choice, length, list_of, number, point3, text, whole
from bridge.show.yaml12 import Node

MOST_TURN = 3600.0  # degrees
MOST_BACKLASH = 10.0  # degrees
LONGEST_LAG = 5.0  # seconds
LONGEST_HOLD, LONGEST_DARK = 60.0, 600.0  # seconds
ALLOWED_ACTION = "a mapping such as {slots: {19: 250}, hold: 5, dark: 40}"
ZoomRow = tuple[float, float, float | None]
FocusRow = tuple[float, float]
Dimmer = tuple[str, tuple[int, int] | None]
_FULL = 256**4 - 1


def read_profile(node: Node) -> Profile:
    """A whole profile file. Raises Bad with everything that is wrong in it."""
    top = versioned(node)
    footprint = top.required("footprint", whole(1, 512), 512)
    channels: dict[str, tuple[int, ...]] = top.required("channels", _channels, {})
    dimmer: Dimmer = top.optional("dimmer", _dimmer, ("linear", None))
    profile = Profile(
        name=top.required("name", text, "?"),
        footprint=footprint,
        channels=channels,
        pan=top.required("pan", _axis, Axis(0, 1)),
        tilt=top.required("tilt", _axis, Axis(0, 1)),
        fixed=top.optional("fixed", slots, {}),
        zoom=top.optional("zoom", _zoom, None),
        focus=top.optional("focus", _focus, None),
        dimmer_curve=dimmer[0],
        dimmer_ends=dimmer[1],
        min_distance=top.optional("min_distance", length(0), 0.0),
        lag=top.optional("lag", number(0, LONGEST_LAG, unit="s"), 0.0),
        actions=top.optional("actions", by_name(_action, "a mapping of action names to " + ALLOWED_ACTION), {}),
        backlash=top.optional("backlash", number(0, MOST_BACKLASH, unit="degrees"), 0.0),
        sight_fixed=top.optional("sight_fixed", slots, {}),
        axes_at=top.optional("axes_at", point3, (0.0, 0.0, 0.0)),
    )
    if top.good("footprint", "channels"):
        _check_offsets(top, profile)
    if top.good("channels", "zoom", "focus", "dimmer"):
        _check_optics(top, profile)
    top.done()
    return profile


def _channels(node: Node) -> dict[str, tuple[int, ...]]:
    channels = KeyReader(node, "a mapping of channel names to offsets")
    out: dict[str, tuple[int, ...]] = {}
    for name in CHANNEL_NAMES:
        if name in REQUIRED_CHANNELS:
            out[name] = channels.required(name, _offsets, ())
        elif (found := channels.optional(name, _offsets, None)) is not None:
            out[name] = found
    channels.done()
    return out


def _offsets(node: Node) -> tuple[int, ...]:
    offset = whole(1, 512)
    if not isinstance(node.value, list):
        return (offset(node),)
    return tuple(list_of(offset, 1, 4, "a list of offsets from the address, coarse first,")(node))


def _action(_name: str, node: Node) -> Action:
    m = KeyReader(node, ALLOWED_ACTION)
    action = Action(
        slots=m.required("slots", _action_slots, {}),
        hold=m.required("hold", number(0, LONGEST_HOLD, unit="s"), 0.0),
        dark=m.required("dark", number(0, LONGEST_DARK, unit="s"), 0.0),
    )
    m.done()
    return action


def _action_slots(node: Node) -> dict[int, int]:
    found = slots(node)
    if not found:
        raise bad(node, "at least one offset and the value it holds, such as {19: 250}")
    return found


def _axis(node: Node) -> Axis:
    axis = KeyReader(node)
    turn = number(-MOST_TURN, MOST_TURN, unit="degrees")
    out = Axis(
        from_deg=axis.required("from", turn, 0.0),
        to_deg=axis.required("to", turn, 1.0),
        speed=axis.optional("speed", number(0, 100_000, above=True, unit="deg/s"), 180.0),
        acceleration=axis.optional("acceleration", number(0, 1_000_000, above=True, unit="deg/s²"), 600.0),
    )
    if axis.good("from", "to") and out.from_deg == out.to_deg:
        axis.fail("to", f"found {out.to_deg:g}, the same as 'from'; allowed is another angle (from may be the larger)")
    axis.done()
    return out


def _dimmer(node: Node) -> Dimmer:
    """The curve, and the raw values at no light and at full light where they are not the channel's ends."""
    dimmer = KeyReader(node)
    curve = dimmer.optional("curve", choice("linear", "square"), "linear")
    dark, lit = (dimmer.optional(key, whole(0, _FULL), None) for key in ("from", "to"))
    if (dark is None) != (lit is None):
        dimmer.fail("from" if lit is None else "to", "found one end, allowed are 'from' and 'to' together, or neither")
    elif dark is not None and dark == lit:
        dimmer.fail("to", f"found {lit}, the same as 'from'; allowed is another raw value (from may be the larger)")
    dimmer.done()
    return curve, None if dark is None or lit is None else (dark, lit)


def _zoom(node: Node) -> ZoomTable:
    zoom = KeyReader(node)
    rows: tuple[ZoomRow, ...] = zoom.required("table", zoom_rows, ())
    edge = zoom.optional("edge", choice("beam", "field"), "beam")
    zoom.done()
    return ZoomTable(rows, edge)


def _focus(node: Node) -> tuple[FocusRow, ...]:
    focus = KeyReader(node)
    rows: tuple[FocusRow, ...] = focus.required("table", focus_rows, ())
    focus.done()
    return rows


def zoom_rows(node: Node) -> tuple[ZoomRow, ...]:
    """Rows [raw, full angle] or [raw, full angle, candela]: raw rising, angle rising or falling throughout."""
    rows = tuple(list_of(_zoom_row, 1, what="a list of rows [raw, angle] or [raw, angle, candela], a list")(node))
    raws, angles = [row[0] for row in rows], [row[1] for row in rows]
    if not _rising(raws):
        raise bad(node, "a table whose raw values rise from row to row")
    if not _rising(angles) and not _rising(angles[::-1]):
        raise bad(node, "a table whose angles rise, or fall, from each row to the next")
    if len({row[2] is None for row in rows}) > 1:
        raise bad(node, "a table with candela in every row or in none")
    return rows


def _zoom_row(node: Node) -> ZoomRow:
    number_ = list_of(lambda child: child, 2, 3, "[raw, angle] or [raw, angle, candela], a list")(node)
    angle = number(0, 180, above=True, unit="degrees")(number_[1])
    if angle >= 180:
        raise bad(number_[1], "an angle above 0 and below 180 degrees")
    candela = number(0, 1e12, above=True, unit="candela")(number_[2]) if len(number_) == 3 else None
    return number(0, _FULL)(number_[0]), angle, candela


def focus_rows(node: Node) -> tuple[FocusRow, ...]:
    """Rows [distance, raw]: distance rising."""
    rows = tuple(list_of(_focus_row, 2, what="a list of rows [distance, raw], a list")(node))
    if not _rising([row[0] for row in rows]):
        raise bad(node, "a table whose distances rise from row to row")
    return rows


def _focus_row(node: Node) -> FocusRow:
    distance, raw = vector2_nodes(node)
    return length(0, above=True)(distance), number(0, _FULL)(raw)


def vector2_nodes(node: Node) -> tuple[Node, Node]:
    """The two nodes of a row."""
    first, second = list_of(lambda child: child, 2, 2, "[distance, raw], a list")(node)
    return first, second


def _rising(numbers: Sequence[float]) -> bool:
    return all(first < second for first, second in pairwise(numbers))


def _check_offsets(top: KeyReader, profile: Profile) -> None:
    """Every offset inside the footprint, and each used once."""
    owners: dict[int, str] = {}
    for name, offsets in profile.channels.items():
        for offset in offsets:
            if offset > profile.footprint:
                top.fail(
                    "channels", f"found {name} at offset {offset}, allowed is 1 to the footprint {profile.footprint}"
                )
            if offset in owners:
                top.fail("channels", f"found {owners[offset]} and {name} both at offset {offset}, allowed is one")
            owners[offset] = name
    for problem in _slot_problems(profile.fixed, profile.footprint, owners):
        top.fail("fixed", problem)
    for problem in _slot_problems(profile.sight_fixed, profile.footprint, owners):
        top.fail("sight_fixed", problem)
    actions = top.node.get("actions") or top.node
    for name, action in profile.actions.items():
        line = (actions.get(name) or actions).line_of("slots")
        for problem in _slot_problems(action.slots, profile.footprint, owners):
            top.problem(Problem(line, problem, ("actions", name, "slots")))


def _slot_problems(held: Iterable[int], footprint: int, owners: Mapping[int, str]) -> Iterator[str]:
    """Offsets that hold a value but are no slot of the head's, or one that a channel of ours moves."""
    for offset in held:
        if offset > footprint:
            yield f"found offset {offset}, allowed is 1 to the footprint {footprint}"
        if offset in owners:
            yield f"found offset {offset}, which is a byte of {owners[offset]}; allowed are the others"


def _check_optics(top: KeyReader, profile: Profile) -> None:
    """Raw values of the tables inside their channel; tables without a channel."""
    if profile.zoom is not None:
        if "zoom" not in profile.channels and len(profile.zoom.rows) > 1:
            top.fail("zoom", "found a table but no channel 'zoom'; allowed without it is one row, a fixed angle")
        for problem in raw_problems(profile, "zoom", [row[0] for row in profile.zoom.rows]):
            top.fail("zoom", problem)
    for problem in raw_problems(profile, "dimmer", profile.dimmer_ends or ()):
        top.fail("dimmer", problem)
    if profile.focus is not None:
        if "focus" not in profile.channels:
            top.fail("focus", "found a table but no channel 'focus'; allowed is a table where there is one")
        for problem in raw_problems(profile, "focus", [row[1] for row in profile.focus]):
            top.fail("focus", problem)


def raw_problems(profile: Profile, channel: str, raws: Sequence[float]) -> list[str]:
    """Raw values that the channel cannot carry. A head without the channel has nothing to check."""
    if channel not in profile.channels:
        return []
    full = profile.full_scale(channel)
    size = len(profile.channels[channel])
    return [f"found raw {raw:g}, allowed is 0 to {full} ({size} byte(s))" for raw in raws if raw > full]


def optics_warnings(node: Node, profile: Profile) -> list[Problem]:
    """A zoom or focus channel that no table drives."""
    channels = node.get("channels") or node
    return [
        Problem(channels.line_of(name), f"channel '{name}' has no table, so it is held at 0", ("channels",))
        for name, table in (("zoom", profile.zoom), ("focus", profile.focus))
        if name in profile.channels and table is None
    ]
