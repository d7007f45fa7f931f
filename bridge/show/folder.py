"""The files of a show folder, read safely: inside the folder, regular, not huge, UTF-8; and read only once."""

from __future__ import annotations

import os
import stat
from importlib import resources
from pathlib import Path

from bridge.show.keys import KeyReader
from bridge.show.problems import Bad, Problem, listed, nearest, shown
from bridge.show.values import bad, text, whole
from bridge.show.yaml12 import Node, parse

MOST_BYTES = 8_000_000
_KINDS = {
    stat.S_IFDIR: "a folder",
    stat.S_IFIFO: "a named pipe",
    stat.S_IFSOCK: "a socket",
    stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
}
VERSION = 1


def read_tree(path: Path) -> tuple[Node, list[Problem]]:
    """The tree of one file and the doubled keys in it. Raises Bad where it cannot be read."""
    return parse(decode(read_bytes(path)))


def read_bytes(path: Path) -> bytes:
    """The bytes of a regular file. Nothing else is opened: a pipe would be waited for, a device may do things.

    Raises Bad where it cannot be read.
    """
    try:
        _check_kind(path.stat())
        # What stood there a moment ago may have been replaced: O_NONBLOCK waits for nobody.
        with open(os.open(path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC), "rb") as file:
            found = os.fstat(file.fileno())
            _check_kind(found)
            data = file.read(MOST_BYTES + 1)  # the size that is told is no bound: a file in /proc says 0
    except FileNotFoundError:
        raise Bad([Problem(1, "found no such file")]) from None
    except OSError as error:
        raise Bad([Problem(1, f"cannot be read: {error.strerror or error}")]) from None
    if len(data) > MOST_BYTES:
        size = max(found.st_size, len(data))
        raise Bad([Problem(1, f"found a file of {size} bytes, allowed are up to {MOST_BYTES}")])
    return data


def _check_kind(found: os.stat_result) -> None:
    if not stat.S_ISREG(found.st_mode):
        kind = _KINDS.get(stat.S_IFMT(found.st_mode), "something else")
        raise Bad([Problem(1, f"found {kind}, allowed is a regular file")])


def decode(data: bytes) -> str:
    """The text of a file without its byte order mark. Raises Bad where it is not UTF-8."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found = f"found the byte 0x{data[error.start]:02x}, which is not UTF-8"
        raise Bad([Problem(line, f"{found}; allowed is text saved as UTF-8")]) from None


def versioned(node: Node) -> KeyReader:
    """The top mapping of a file, its `version` read."""
    top = KeyReader(node, "a mapping of keys and values that begins with 'version: 1'")
    top.required("version", whole(VERSION, VERSION), VERSION)
    return top


def built_in_profiles() -> dict[str, Path]:
    """Name -> file of the profiles that come with the package."""
    folder = Path(str(resources.files("bridge") / "profiles"))
    return {path.stem: path for path in sorted(folder.glob("*.yaml"))}


def profile_file(folder: Path, node: Node) -> tuple[str, Path]:
    """The file a rig's `profile:` means, as (name for messages, path). Raises Bad where there is none such."""
    word = node.text
    if "/" not in word and "\\" not in word and not word.endswith((".yaml", ".yml")):
        built_in = built_in_profiles()
        if word in built_in:
            return f"built-in profile {word}", built_in[word]
        raise _unknown(folder, node)
    path = path_inside(folder, node)
    if not _exists(path):
        raise _unknown(folder, node)
    return str(path.resolve().relative_to(folder.resolve())), path.resolve()


def path_inside(folder: Path, node: Node) -> Path:
    """The path that a file of the show names. Raises Bad where it leaves the folder, links and `..` followed."""
    word = text(node)
    path = folder / word
    if word.startswith(("/", "~")) or "\\" in word or not _inside(folder, path):
        raise Bad([Problem(node.line, f"found '{shown(word)}', allowed is a path that stays inside the show folder")])
    return path


def subfolder(folder: Path, node: Node) -> str:
    """A folder in the show folder, as written, there or not yet there. Raises Bad where it cannot be one."""
    path = path_inside(folder, node)
    try:
        free = path.resolve() != folder.resolve() and (path.is_dir() or not path.exists())
    except OSError:  # a name that is too long
        free = False
    if not free:
        raise bad(node, "a folder of its own inside the show folder, such as captures")
    return node.text


def _inside(folder: Path, path: Path) -> bool:
    """Whether the file is in the folder, symbolic links and `..` followed."""
    try:
        return path.resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError, ValueError):
        return False


def _exists(path: Path) -> bool:
    """Whether there is anything; a name too long or a folder without permission is nothing."""
    try:
        return path.exists()
    except OSError:
        return False


def _unknown(folder: Path, node: Node) -> Bad:
    local = [f"profiles/{path.name}" for path in sorted((folder / "profiles").glob("*.yaml"))]
    names = [*local, *built_in_profiles()]
    near = nearest(node.text, names)
    hint = f", nearest is '{near}'" if near else ""
    found = f"found unknown profile '{shown(node.text)}'{hint}"
    return Bad([Problem(node.line, f"{found}; allowed: a path from this folder, or one of {listed(names)}")])
