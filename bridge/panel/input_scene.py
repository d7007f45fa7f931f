"""Tracking inputs for the page's scene: their frames, and what was kept on marks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from bridge.geometry.input_frame import InputFrame, Recorded
from bridge.show.model import Show

Kept = Mapping[str, Sequence[Recorded]]


def inputs(show: Show, kept: Kept) -> list[dict[str, Any]]:
    """For the scene; `kept` are records that no frame was solved from yet."""
    return [
        _input(name, settings.protocol, show.frames.get(name), kept.get(name, ()), show)
        for name, settings in show.network.inputs.items()
    ]


def _input(name: str, protocol: str, frame: InputFrame | None, kept: Sequence[Recorded], show: Show) -> dict[str, Any]:
    """`sigma`: how far off places may be by the frame, m (95 %; None: not known)."""
    fresh = {record.mark for record in kept}
    used = [] if frame is None else [record for record in frame.recorded if record.mark not in fresh]
    return {
        "name": name,
        "protocol": protocol,
        "framed": frame is not None,
        "sigma": frame.sigma if frame is not None and frame.sigma else None,
        "records": [_record(record, frame, True, show) for record in used]
        + [_record(record, frame, False, show) for record in kept],
    }


def _record(record: Recorded, frame: InputFrame | None, used: bool, show: Show) -> dict[str, Any]:
    """`off`: how far from its mark the frame in use puts it, horizontally, m; `used`: the frame was solved from it."""
    mark = show.stage.marks.get(record.mark)
    at = None if mark is None else mark.at or show.solved_marks.get(record.mark)
    off = None if frame is None or at is None else math.dist(frame.place(record.at)[:2], at[:2])
    return {
        "mark": record.mark,
        "point": record.point,
        "at": [round(v, 3) for v in record.at],
        "off": None if off is None else round(off, 4),
        "used": used,
    }
