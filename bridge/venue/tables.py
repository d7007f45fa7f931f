"""What was measured, as a table for a terminal."""

from __future__ import annotations

from typing import Any

from rich.table import Table

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
