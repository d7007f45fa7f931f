"""The rooms of design/architecture.md: imports go down only, the lower rooms stay pure. Read with ast."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
FILES = sorted((ROOT / "bridge").rglob("*.py"))

# A module may import its own room and those of a smaller number; rooms of one number do not know each other.
LEVELS = {
    "errors": 0,
    "geometry": 1,
    "wire": 1,
    "web": 1,
    "rig": 2,
    "follow": 3,
    "solve": 4,
    "show": 5,
    "exchange": 6,
    "venue": 6,
    "door": 6,
    "daemon": 7,
    "panel": 7,
    "commands": 8,
    "demo": 8,
    "cli": 9,
    "__main__": 10,
}
SHARED = {"__init__"}  # bridge/__init__.py holds the version alone
PURE_ROOMS = {"geometry", "wire", "rig", "follow", "solve", "door"}
# Sockets, clocks, files, processes and threads: what a pure room must not reach for.
IMPURE_MODULES = {
    "socket",
    "asyncio",
    "select",
    "selectors",
    "time",
    "datetime",
    "pathlib",
    "os",
    "io",
    "shutil",
    "tempfile",
    "subprocess",
    "threading",
    "multiprocessing",
    "signal",
    "yaml",
}
IMPURE_CALLS = {"open", "print", "input"}


def room_of(module: str) -> str:
    """`bridge.follow.engine` -> `follow`; `bridge` itself -> `__init__`."""
    parts = module.split(".")
    return parts[1] if len(parts) > 1 else "__init__"


def module_of(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports_of(path: Path, tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Every (line, absolute module) that a file imports, inside functions and under TYPE_CHECKING too."""
    package = module_of(path).split(".") if path.name == "__init__.py" else module_of(path).split(".")[:-1]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) + 1 - node.level] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            # `from bridge import show` names a room only by its alias
            names = [f"bridge.{alias.name}" for alias in node.names] if module == "bridge" else [module]
            yield from ((node.lineno, name) for name in names if name != "bridge.__version__")


def upward_imports(path: Path, source: str) -> list[str]:
    """Every import of `source`, taken as the file `path`, that goes up, sideways or to an unknown room."""
    room, found = room_of(module_of(path)), []
    for line, name in imports_of(path, ast.parse(source)):
        if name.split(".")[0] != "bridge" or room_of(name) in SHARED | {room}:
            continue
        level, other = LEVELS.get(room, -1), LEVELS.get(room_of(name), 99)
        if other >= level or (room == "wire" and room_of(name) != "errors"):
            found.append(f"{path.relative_to(ROOT)}:{line}: {room} may not import {name}")
    return found


def impurities(path: Path, source: str) -> list[str]:
    """Every import or call of `source` with which a pure room would reach the outside world."""
    tree, where, found = ast.parse(source), path.relative_to(ROOT), []
    for line, name in imports_of(path, tree):
        if name.split(".")[0] in IMPURE_MODULES:
            found.append(f"{where}:{line}: {room_of(module_of(path))} may not import {name}")
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in IMPURE_CALLS:
            found.append(f"{where}:{node.lineno}: {node.func.id}() touches the outside world")
    return found


@pytest.mark.parametrize("path", FILES, ids=module_of)
def test_imports_go_down_only(path: Path) -> None:
    assert upward_imports(path, path.read_text()) == []


@pytest.mark.parametrize("path", [p for p in FILES if room_of(module_of(p)) in PURE_ROOMS], ids=module_of)
def test_pure_rooms_open_no_socket_read_no_clock_and_touch_no_file(path: Path) -> None:
    assert impurities(path, path.read_text()) == []


def test_every_room_has_its_level() -> None:
    rooms = {room_of(module_of(path)) for path in FILES}
    assert rooms - SHARED - set(LEVELS) == set(), "a new room needs a place in LEVELS and in DEVELOPERS.md"


@pytest.mark.parametrize("folder", ["bridge", "tests", "tools"])
def test_files_stay_readable(folder: str) -> None:
    lengths = {str(p.relative_to(ROOT)): len(p.read_text().splitlines()) for p in (ROOT / folder).rglob("*.py")}
    assert {name: n for name, n in lengths.items() if n > 400} == {}


UPWARD = {
    "follow/x.py": "from bridge.show.model import Show",
    "rig/x.py": "def f():\n    import bridge.follow.engine",
    "geometry/x.py": "from bridge.wire import osc",
    "wire/x.py": "from bridge.geometry.frames import rotation_x",
    "solve/x.py": "from bridge import venue",
    "show/x.py": "from ..daemon import loop",
    "demo/x.py": "from bridge.commands import run",
}
IMPURE = [
    "import socket",
    "from time import monotonic",
    "from pathlib import Path",
    "import os.path",
    "open('x')",
]


@pytest.mark.parametrize(("name", "source"), UPWARD.items(), ids=UPWARD)
def test_the_walk_sees_an_upward_import(name: str, source: str) -> None:
    assert len(upward_imports(ROOT / "bridge" / name, source)) == 1


@pytest.mark.parametrize("source", IMPURE)
def test_the_walk_sees_the_outside_world(source: str) -> None:
    assert len(impurities(ROOT / "bridge" / "follow" / "x.py", source)) == 1


@pytest.mark.parametrize(
    "source", ["from bridge import __version__", "from . import frames", "from bridge.errors import Refused"]
)
def test_the_walk_allows_what_goes_down(source: str) -> None:
    assert upward_imports(ROOT / "bridge" / "geometry" / "x.py", source) == []
