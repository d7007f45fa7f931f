"""Whether a control would ever be obeyed: each is tried on an engine of its own, which sends nothing."""

from __future__ import annotations

from collections.abc import Iterator

from bridge.commands.findings import Finding
from bridge.errors import Refused
from bridge.follow.commands.table import Commands
from bridge.follow.engine import Engine
from bridge.rig.rig import Rig
from bridge.rig.shares import shares
from bridge.show.addresses import NOT_OF_THE_ENGINE, form_of, name_in, takes_nothing
from bridge.show.model import Show
from bridge.wire.settings import Control

Args = tuple[float | str, ...]
NEVER = ("arguments", "range", "not-finite", "unknown-name", "no-channel", "unknown-address")
"""Reasons to refuse that no moment of the show changes."""
_SWITCHES = ("/arm", "/lock")
_BARE = ("/reload", "/sight/solve", "/sight/back", "/sight/NAME/accept")


def control_findings(show: Show, rig: Rig) -> Iterator[Finding]:
    """Messages of controls that are refused whenever they come."""
    if show.network.desk is None or not show.network.desk.controls:
        return
    beside = shares(show.fixtures, show.network.desk)
    engine = Engine(rig, show.stage, show.network.lost_input, show.solved_marks, desk=beside)
    commands = Commands(engine)
    for index, control in enumerate(show.network.desk.controls, 1):
        for args in tries(control):
            why = _refusal(commands, engine, control.to, args)
            if why:
                said = " ".join(arg if isinstance(arg, str) else f"{arg:g}" for arg in args)
                text = f"controls.{index}: {f'{control.to} {said}'.rstrip()} would be refused: {why}"
                yield Finding("warning", "network.yaml", text)
                break


def tries(control: Control) -> list[Args]:
    """Messages that a control can send: at both ends and half-way, on and off, or each choice."""
    if control.choose:
        return [args for _, args in control.choose]
    if control.above is not None:
        return [()] if takes_nothing(control.to) else [(1,), (0,)]
    middle = tuple((low + high) / 2 for low, high in zip(control.first, control.last, strict=True))
    return [control.first, middle, control.last]


def _refusal(commands: Commands, engine: Engine, to: str, args: Args) -> str:
    """Why it is never obeyed, "" if it may be."""
    if (form := form_of(to)) in NOT_OF_THE_ENGINE:
        return _elsewhere(engine, str(form), args)
    try:
        commands.handle(to, args, "desk", 0.0)
    except Refused as error:
        return str(error) if error.reason in NEVER or _has_no_desk(engine, to) else ""
    return ""


def _has_no_desk(engine: Engine, to: str) -> bool:
    """Whether it would give a head away under which no desk is laid."""
    desk, about = engine.crew.desk, name_in(to)
    if form_of(to) != "/fixture/NAME/desk" or desk is None or about is None:
        return False
    return not desk.shares.under[engine.rig.names.index(about[1])]


def _elsewhere(engine: Engine, form: str, args: Args) -> str:
    """As the door and the daemon would answer."""
    if form in _SWITCHES:
        return "" if args in ((0,), (1,)) else "it takes 0 or 1: make it a switch with `above`"
    if form in _BARE:
        return "" if args == () else "it takes nothing: make it a switch with `above`"
    return "" if len(args) == 1 and args[0] in engine.marks else "it takes the name of a mark"
