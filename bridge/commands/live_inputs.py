"""What `check --live` hears of tracking inputs, and says of it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from typing import Any, NamedTuple

from bridge.commands.findings import Finding, names_of
from bridge.commands.listening import Listening, PointRow
from bridge.daemon import clock
from bridge.errors import NetworkError
from bridge.show.model import Show


class InputHeard(NamedTuple):
    """One input after listening: its points, those that targets follow and that were not heard, and why not.

    `deaf` says why it could not be listened to, `strangers` who sent that is not heard, `silence` what to look at.
    """

    name: str
    at: str
    points: tuple[PointRow, ...] = ()
    missing: tuple[str, ...] = ()
    strangers: tuple[str, ...] = ()
    silence: tuple[str, ...] = ()
    deaf: str = ""


class Inputs:
    """All inputs of a show, listened to beside whatever else is; those that cannot be are said."""

    def __init__(self, show: Show, stack: ExitStack) -> None:
        self._deaf: dict[str, str] = {}
        self._open: list[Listening] = []
        self._names = list(show.network.inputs)
        for name in self._names:
            try:
                listening = Listening(show, name)
            except NetworkError as error:
                self._deaf[name] = str(error)
                continue
            stack.callback(listening.close)
            self._open.append(listening)

    def read(self) -> None:
        """What has come."""
        for listening in self._open:
            listening.read()

    def heard(self) -> list[InputHeard]:
        """In the order of the network file."""
        now_s = clock.now_s()
        found = {listening.name: _heard(listening, now_s) for listening in self._open}
        found |= {name: InputHeard(name, "", deaf=text) for name, text in self._deaf.items()}
        return [found[name] for name in self._names]


def _heard(listening: Listening, now_s: float) -> InputHeard:
    rows = tuple(listening.rows(now_s))
    return InputHeard(
        listening.name,
        str(listening.at),
        rows,
        tuple(listening.missing(now_s)),
        tuple(listening.ears.strangers),
        () if rows else tuple(listening.silence()),
    )


def input_live_findings(heard: list[InputHeard], seconds: float) -> Iterator[Finding]:
    """One for each thing that is wrong with an input."""
    for one in heard:
        where = f"input {one.name}"
        if one.deaf:
            yield Finding("note", where, f"was not listened to: {one.deaf}")
            continue
        if one.strangers:
            text = f"{names_of(list(one.strangers))} sends and is not in `osc: allow` of network.yaml: it is not heard"
            yield Finding("warning", where, text)
        if not one.points:
            yield Finding(
                "warning", where, f"nothing was heard in {seconds:.0f} s at {one.at}: {'; '.join(one.silence)}"
            )
        elif one.missing:
            there = names_of([row.point for row in one.points])
            yield Finding("warning", where, f"not heard: {names_of(list(one.missing))}; heard: {there}")


def input_lines(heard: list[InputHeard]) -> Iterator[str]:
    """For the eye: one line a point."""
    for one in heard:
        if not one.points:
            yield f"input {one.name}: {'not listened to' if one.deaf else 'nothing'}"
        for row in one.points:
            called = f' "{row.name}"' if row.name else ""
            follows = ", ".join(row.targets) or "no target"
            rate = f"{row.rate_hz:.1f}/s, jitter {row.jitter_ms:.1f} ms"
            yield f"input {one.name}: {row.point}{called} from {row.host}, {rate}, {follows}"


def inputs_as_data(heard: list[InputHeard]) -> list[dict[str, Any]]:
    """For `--json`."""
    return [{**one._asdict(), "points": [row._asdict() for row in one.points]} for one in heard]
