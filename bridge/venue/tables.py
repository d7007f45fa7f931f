"""What was measured, as a table for a terminal."""

from __future__ import annotations

from typing import Any

import numpy as np
from rich.table import Table

from bridge.venue.measure import Meter
from bridge.venue.robot import Progress
from bridge.venue.simulation import LIT, Venue
from bridge.venue.thrown_beams import ellipses

_COLUMNS = ("head", "RMS", "95 %", "worst", "of spot", "in pool", "lit out", "dark in", "no-light", "speed")


def beam_table(summary: dict[str, Any], title: str = "Beams, as measured") -> Table:
    """One row per fixture and one over all, from `Meter.summary`."""
    table = Table(title=f"{title}: error in cm, times in s, deg/s; {summary['observed_s']:.1f} s", padding=(0, 0))
    for name in _COLUMNS:
        table.add_column(name, justify="left" if name == "head" else "right", no_wrap=True)
    for name, found in summary["fixtures"].items():
        fastest = max(found["pan_speed_deg_s"], found["tilt_speed_deg_s"])
        table.add_row(name, *_cells(found), f"{fastest:.0f}")
    table.add_section()
    table.add_row("all", *_cells(summary["all"]), "")
    return table


def _cells(found: dict[str, Any]) -> list[str]:
    times = [found["lit_outside_s"], found["dark_inside_s"], found["no_light_s"]]
    return [
        *(_centimetres(found[key]) for key in ("rms_m", "p95_m", "worst_m")),
        "-" if found["rms_m"] is None else f"{100 * found['worst_share_of_spot']:.1f} %",
        "-" if found["in_pool"] is None else f"{100 * found['in_pool']:.2f} %",
        *(f"{value:.2f}" if value else "0" for value in times),
    ]


def _centimetres(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.1f}"


def network_lines(summary: dict[str, Any]) -> list[str]:
    """Plain words for what the venue heard."""
    heard = ", ".join(f"{count} {word}" for word, count in summary["packets"].items()) or "nothing"
    lines = [f"heard: {heard}"]
    if summary["never_heard"]:
        universes = ", ".join(map(str, summary["never_heard"]))
        lines.append(f"never heard: universe {universes}. Is the bridge armed, and on this interface?")
    if summary["skipped_s"]:
        lines.append(f"the machine was too busy: {summary['skipped_s']} s were skipped")
    if summary["all"]["no_light_s"]:
        lines.append("LIGHT FELL INTO A NO-LIGHT AREA")
    return lines


def progress_line(progress: Progress) -> str:
    """The robot's focus session in one line."""
    width = 30
    full = round(width * progress.done / max(progress.total, 1))
    bar = "#" * full + "." * (width - full)
    search = f", {progress.searching} beams still to be found" if progress.searching else ""
    return f"{bar} {progress.done} of {progress.total} sightings, {progress.nudges} nudges{search}"


def live_table(venue: Venue, meter: Meter) -> Table:
    """What every beam does now."""
    state, beams = venue.look()
    spot = ellipses(beams).diameter()
    table = Table(padding=(0, 1))
    for name in ("head", "level", "zoom deg", "spot on floor m", "beam error cm"):
        table.add_column(name, justify="left" if name == "head" else "right", no_wrap=True)
    for i, name in enumerate(venue.names):
        lit = bool(state.level[i] > LIT)
        error = float(meter.current_error()[i]) if lit else float("nan")
        table.add_row(
            name,
            f"{100 * state.level[i]:.0f} %",
            f"{np.degrees(state.zoom_rad[i]):.1f}",
            f"{spot[i]:.2f}" if lit and np.isfinite(spot[i]) else "-",
            f"{100 * error:.1f}" if np.isfinite(error) else "-",
        )
    return table


def demo_lines(summary: dict[str, Any]) -> list[str]:
    """The demo's findings, one line each; what was not reached is not said."""
    lines = [f"{summary['show']}, {summary['heads']} heads, seed {summary['seed']}"]
    if session := summary.get("session"):
        missed = f", missed: {session['missed']}" if session["missed"] else ""
        if "hand_rms_m" in session:
            missed = f", beams {100 * session['hand_rms_m']:.1f} cm RMS from the marks{missed}"
        lines.append(
            f"focus session: {session['sightings']} sightings with {session['nudges']} nudges "
            f"in {session['seconds']:.0f} s{missed}"
        )
    if found := summary.get("calibration"):
        trusted = "trusted" if summary["trusted"] else "NOT trusted"
        errors = found["all"]
        words = f"{_centimetres(errors['rms_m'])} cm RMS, {_centimetres(errors['p95_m'])} cm at 95 %"
        lines.append(f"calibration: aim error {words}, worst {_centimetres(errors['worst_m'])} cm; poses {trusted}")
        if found["unsolved"]:
            lines.append(f"unsolved: {', '.join(found['unsolved'])}")
    for name in ("standing", "strolling", "leaving", "dancing", "running"):
        if (part := summary.get(name)) and part["all"]["rms_m"] is not None:
            lines.append(_walk_line(name, part["all"]))
    lines += _led_lines(summary)
    if "leaving" in summary:
        longest = summary["leaving"]["all"]["longest_lit_outside_s"]
        lines.append(f"blackout: longest light on a performer outside the area: {longest:.2f} s")
    if desk := summary.get("desk"):
        lines.append(_desk_line(desk))
    dark = "dark" if summary.get("dark_at_the_end") else "NOT DARK"
    lines.append(f"the bridge ended with exit code {summary.get('bridge_exit')}, the stage is {dark}")
    return lines


def _led_lines(summary: dict[str, Any]) -> list[str]:
    """The same stroll led and not led, side by side."""
    both = [summary[name]["all"] for name in ("strolling", "strolling_not_led") if name in summary]
    if len(both) < 2 or any(found["rms_m"] is None for found in both):
        return []
    led, plain = (f"{_centimetres(found['rms_m'])} / {_centimetres(found['p95_m'])} cm" for found in both)
    return [f"the same stroll, RMS / 95 %: led {led}, not led {plain}"]


def _desk_line(desk: dict[str, Any]) -> str:
    said = f"beside '{desk['source']}' at priority {desk['priority']}"
    if "light" not in desk:
        return said
    low, high = (f"{100 * level:.0f}" for level in desk["light"])
    colour, light = (f"{100 * desk[key]:.1f} %" for key in ("colour_off", "light_off"))
    return (
        f"{said}: lit heads within {colour} of its colour at 95 %, {light} of its light (standing, {low} to {high} %)"
    )


def _walk_line(name: str, found: dict[str, Any]) -> str:
    return (
        f"{name}: beam error {_centimetres(found['rms_m'])} cm RMS, {_centimetres(found['p95_m'])} cm at 95 %, "
        f"worst {100 * found['worst_share_of_spot']:.0f} % of the spot; in the pool {100 * found['in_pool']:.2f} %"
    )
