"""What a file of another program holds, in our words, before it meets a show. Plain data, no silent decisions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from bridge.rig.fixture import Vector3

Document = dict[str, Any]
"""Plain data as a file of the show folder has it: the keys of `profiles/*.yaml`, or of a fixture in `rig.yaml`."""


class Skipped(NamedTuple):
    """Something in the file that is not taken over: what (with its place in the file), and why."""

    what: str
    why: str


class Ask(NamedTuple):
    """A question that has to be answered before anything, or more, can be taken over.

    `key`: mode | map | profile, the option of `tetherlight import` that answers it; `about`: the heading or type it is
    asked of ("" for the whole file); `choices`: the answers there are, () for a free one.
    """

    key: str
    about: str
    text: str
    choices: tuple[str, ...] = ()


@dataclass(frozen=True)
class FoundProfile:
    """One mode of one fixture type.

    `key`: how `FoundFixture.profile` names it, unlike any other of the file. `stem`: what its file is called, as
    `names.slug` makes it. `document`: the keys of `profiles/*.yaml` (without `version`), good for `read_profile`.
    `why`: path in the document (`fixed.7`, `pan`, `zoom`) -> why that is so, for a comment and for people.
    `confirm`: what a first sighting or a measurement is to answer: pan, tilt, focus, zoom, candela.
    """

    key: str
    stem: str
    source: str
    mode: str
    document: Document
    why: Mapping[str, str] = field(default_factory=dict)
    confirm: tuple[str, ...] = ()


@dataclass(frozen=True)
class FoundFixture:
    """One head as the file has it; None or "" is what the file does not say.

    `id`: what the file knows it by for ever (a UUID), `name` and `number` as written, `where` its place in the file for
    messages ("row 12", "layer Front, group Left"). `at`: m, stage axes, where pan and tilt axes meet; `hang`: (yaw,
    pitch, roll), degrees. `profile`: the key of a FoundProfile, or None and `type` (and `mode`) as written. `keys`:
    further keys of `rig.yaml`, as plain data.
    """

    name: str
    id: str = ""
    number: str = ""
    where: str = ""
    profile: str | None = None
    type: str = ""
    mode: str = ""
    universe: int | None = None
    address: int | None = None
    hang: Vector3 | None = None
    at: Vector3 | None = None
    truss: str = ""
    keys: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Found:
    """All of a file. `questions` are for a person to answer or confirm, `notes` only to know.

    `unfit`: what could be read of modes that cannot be used; `skipped` says why. They are shown and never written.
    """

    profiles: tuple[FoundProfile, ...] = ()
    fixtures: tuple[FoundFixture, ...] = ()
    questions: tuple[str, ...] = ()
    skipped: tuple[Skipped, ...] = ()
    notes: tuple[str, ...] = ()
    asks: tuple[Ask, ...] = ()
    unfit: tuple[FoundProfile, ...] = ()
