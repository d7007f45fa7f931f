"""By what ids other programs know the heads of a show."""

from __future__ import annotations

from pathlib import Path

from bridge.show.imported import read_imported


def known_ids(folder: Path) -> dict[str, str]:
    """id -> fixture, as the imports into this folder kept them; empty where nothing was imported."""
    return {head.id: name for name, head in read_imported(folder).fixtures.items() if head.id}
