"""The show folder: schema, every problem with file and line, and the atomic store."""

from bridge.errors import ShowError
from bridge.show.load import load
from bridge.show.model import Show

__all__ = ["Show", "ShowError", "load"]
