"""Looks of a tracking system as packets of its protocol, with times by its own clock. No socket."""

from __future__ import annotations

import math
import uuid
from collections.abc import Callable

import numpy as np

from bridge.venue.tags import Sample
from bridge.venue.tracking_options import Tracking
from bridge.wire import adm, osc, otp_send, psn

NAME = "Harbour Hall tags"
INFO_S = 1.0


class Packets:
    """`of(sample)` are the packets of one look; folios and frames are counted on. The clock began at a time of its own
    and runs fast by `drift_ppm`."""

    def __init__(self, tracking: Tracking) -> None:
        self._tracking = tracking
        self._cid = uuid.uuid4().bytes
        self._origin_us = int(np.random.default_rng([tracking.seed, 60]).integers(10**9, 10**12))
        self._count = 0
        self._info_s = -math.inf
        self._begun_s: float | None = None
        ways: dict[str, Callable[[Sample], list[bytes]]] = {
            "otp": self._otp, "psn": self._psn, "adm-osc": self._adm, "osc": self._osc,
        }  # fmt: skip
        self.of = ways[tracking.protocol]

    def clock_us(self, at_s: float) -> int:
        """What the system's own clock says at a time of the venue."""
        if self._begun_s is None:
            self._begun_s = at_s
        return self._origin_us + round((at_s - self._begun_s) * 1e6 * (1 + self._tracking.drift_ppm * 1e-6))

    def _sent_us(self, sample: Sample) -> int:
        """When it leaves the system: jitter is the network's, and comes after."""
        return self.clock_us(sample.at_s + self._tracking.delay_s)

    def _otp(self, sample: Sample) -> list[bytes]:
        self._count += 1
        sampled_us = self.clock_us(sample.at_s)
        points = []
        for tag in sample.tags:
            group, number = map(int, tag.point.split("/"))
            velocity = tag.velocity if self._tracking.velocity else None
            points.append(otp_send.Sent(group, number, tag.place, velocity, sampled_us=sampled_us))
        now_us = self._sent_us(sample)
        return otp_send.transform(self._cid, NAME, self._tracking.system, self._count, now_us, points)

    def _psn(self, sample: Sample) -> list[bytes]:
        self._count += 1
        sampled_us, now_us = self.clock_us(sample.at_s), self._sent_us(sample)
        trackers = [
            psn.Tracker(int(tag.point), tag.place, tag.velocity if self._tracking.velocity else None, 1.0, sampled_us)
            for tag in sample.tags
        ]
        packets = psn.data(trackers, now_us, self._count % 256)
        if sample.at_s - self._info_s >= INFO_S:
            self._info_s = sample.at_s
            names = {int(point): target for target, point in self._tracking.points.items()}
            packets += psn.info(NAME, names, now_us, self._count % 256)
        return packets

    def _adm(self, sample: Sample) -> list[bytes]:
        """Whoever is outside the room is at its walls."""
        return [
            adm.position(int(tag.point), *(min(max(share, -1.0), 1.0) for share in tag.place)) for tag in sample.tags
        ]

    def _osc(self, sample: Sample) -> list[bytes]:
        return [osc.encode(f"/target/{tag.point}/position", *tag.place[:2]) for tag in sample.tags]
