"""What every reader of a tracking protocol gives: points in the sender's own axes, with the sender's own times."""

from __future__ import annotations

from typing import NamedTuple

Place = tuple[float, float, float]


class Point(NamedTuple):
    """A point as its packet says: `name` as a show writes it (otp GROUP/POINT, psn and adm-osc a number).

    `place` in metres (adm-osc: shares of its room, or metres with `dmax`), `velocity` in m/s. `sampled_us`: when it was
    sampled, by the clock of its sender, None where the packet does not say. `clock` tells clocks of senders apart.
    """

    name: str
    place: Place
    velocity: Place | None = None
    sampled_us: int | None = None
    clock: str = ""
