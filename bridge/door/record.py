"""Events as JSON, for a capture, and back. Messages are not among them: a capture holds their datagrams.

Every event says how many messages were obeyed since the one before it (`obeyed`), which puts the two into one order.
Numbers come back as they were: Python writes a float with as many digits as tell it apart.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import asdict
from typing import Any

from bridge.door import events, poses
from bridge.door.contest import sources_from
from bridge.door.door import marks_from
from bridge.door.packed import packed, unpacked
from bridge.door.tracking import frames_from_json, frames_to_json
from bridge.show.model import Show

Data = dict[str, Any]
LoadFiles = Callable[[Mapping[str, str]], Show]


def begin(files: Mapping[str, str], cid: bytes, state: Mapping[str, Any]) -> bytes:
    """The first event of a capture: the show as texts, and everything that was kept so far."""
    return _octets("state", 0, {"files": dict(files), "cid": cid.hex(), "state": state})


def tick(at_s: float, obeyed: int) -> bytes:
    """A frame was made."""
    return b'{"kind": "tick", "obeyed": %d, "at_s": %s}' % (obeyed, repr(at_s).encode())


def event(of: events.Event, obeyed: int) -> bytes:
    """Any other event than a message."""
    match of:
        case events.NewPoses():
            marks = {name: list(at) for name, at in of.marks.items()}
            data = {"poses": poses.to_json(of.poses), "marks": marks, "optics": poses.tables_to_json(of.optics)}
            return _octets("poses", obeyed, {"at_s": of.at_s, **data})
        case events.NewShow():
            return _octets("show", obeyed, {"at_s": of.at_s, "files": dict(of.files)})
        case events.OthersHeard():
            heard = {str(u): [list(source) for source in sources] for u, sources in of.sources.items()}
            return _octets("heard", obeyed, {"at_s": of.at_s, "sources": heard})
        case events.DeskHeard():
            frames = [[universe, packed(slots), *more] for universe, slots, *more in of.frames]
            return _octets("desk", obeyed, {"at_s": of.at_s, "frames": frames})
        case events.Tracked():
            return _octets("tracked", obeyed, {"at_s": of.at_s, "input": of.input, "seen": [list(s) for s in of.seen]})
        case events.NewFrames():
            return _octets("frames", obeyed, {"at_s": of.at_s, "frames": frames_to_json(of.frames)})
        case events.Unsent():
            return _octets("unsent", obeyed, {"at_s": of.at_s, "universes": list(of.universes)})
        case events.Start():
            data = asdict(of) | {"sequences": {str(universe): n for universe, n in of.sequences.items()}}
            return _octets("start", obeyed, data)
        case events.Stop():
            return _octets("stop", obeyed, {"at_s": of.at_s})
        case events.Message():
            raise ValueError("a message is kept as its datagram")


def event_from(data: Data, load: LoadFiles) -> events.Event | None:
    """The event that `event` has written; None for a kind of no event. KeyError, TypeError, ValueError on nonsense."""
    at_s = float(data["at_s"])
    match data["kind"]:
        case "poses":
            optics = poses.tables_from_json(data.get("optics", {}))
            return events.NewPoses(at_s, poses.from_json(data["poses"]), marks_from(data["marks"]), optics=optics)
        case "show":
            return events.NewShow(at_s, load(data["files"]), data["files"])
        case "heard":
            return events.OthersHeard(at_s, sources_from(data["sources"]))
        case "desk":
            frames = (events.DeskFrame(u, unpacked(slots), *more) for u, slots, *more in data["frames"])
            return events.DeskHeard(at_s, tuple(frames))
        case "tracked":
            return events.Tracked(at_s, str(data["input"]), tuple(_seen(*seen) for seen in data["seen"]))
        case "frames":
            return events.NewFrames(at_s, frames_from_json(data["frames"]))
        case "unsent":
            return events.Unsent(at_s, tuple(int(universe) for universe in data["universes"]))
        case "start":
            sequences = {int(universe): int(n) for universe, n in data["sequences"].items()}
            started = {key: data[key] for key in ("armed", "listening_since_s", "left_behind", "lasting", "crashed")}
            return events.Start(at_s, **started, sequences=sequences, freshest=tuple(map(float, data["freshest"])))
        case "stop":
            return events.Stop(at_s)
    return None


def _seen(point: str, at_s: float, place: Any, velocity: Any, host: str) -> events.Seen:
    return events.Seen(point, at_s, tuple(place), None if velocity is None else tuple(velocity), host)


def _octets(kind: str, obeyed: int, data: Mapping[str, Any]) -> bytes:
    return json.dumps({"kind": kind, "obeyed": obeyed, **data}).encode()
