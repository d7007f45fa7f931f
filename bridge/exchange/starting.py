from __future__ import annotations


def starting_stage(name: str, width_m: float, depth_m: float) -> str:
    return "version: 1\nperformance_polygon: {corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]]}\n"


def starting_network() -> str:
    return "version: 1\n"
