"""What stands in a show folder before a file is taken over: texts, and the plain data in them."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from bridge.errors import InputError, ShowError
from bridge.exchange.found import Document
from bridge.show.folder import built_in_profiles, decode, read_bytes
from bridge.show.imported import IMPORTED, Imported, read_imported
from bridge.show.load import NETWORK, RIG, STAGE
from bridge.show.problems import Bad, Problem, shown
from bridge.show.spans import Layout
from bridge.show.yaml12 import parse

PROFILES = "profiles"


@dataclass(frozen=True)
class Standing:
    """`texts` by file name, as `profiles/x.yaml`; `heads`: the fixtures of rig.yaml as written; `profiles` by file."""

    folder: Path
    texts: Mapping[str, str]
    heads: tuple[Document, ...]
    profiles: Mapping[str, Document]
    imported: Imported

    def has(self, file: str) -> bool:
        """Whether the folder has such a file."""
        return file in self.texts

    def footprint_of(self, word: str) -> int | None:
        """Slots of a profile by what a rig says for it, built-in ones too; None where that is not known."""
        document = self.profiles.get(word) or built_in(word)
        footprint = document.get("footprint") if document else None
        return footprint if isinstance(footprint, int) else None


def standing(folder: Path) -> Standing:
    """Read a folder, which may not be there yet. Raises ShowError where a file in it is no YAML, InputError where it is
    no folder."""
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder}: found a file, allowed is a show folder, there or not yet there")
    files = [RIG, STAGE, NETWORK]
    files += [f"{PROFILES}/{path.name}" for path in sorted((folder / PROFILES).glob("*.y*ml")) if path.is_file()]
    texts: dict[str, str] = {}
    data: dict[str, Document] = {}
    problems: list[str] = []
    for file in files:
        if not (folder / file).exists():
            continue
        try:
            texts[file] = decode(read_bytes(folder / file))
            data[file] = _mapping(texts[file])
        except Bad as error:
            problems += [f"{file}:{problem.line}: {problem}" for problem in error.problems]
    if problems:
        raise ShowError(problems)
    with suppress(Bad):  # a damaged one says so itself
        texts[IMPORTED] = decode(read_bytes(folder / IMPORTED))
    heads = data.get(RIG, {}).get("fixtures")
    heads = [head for head in heads if isinstance(head, dict)] if isinstance(heads, list) else []
    profiles = {file: data[file] for file in texts if file.startswith(PROFILES)}
    return Standing(folder, texts, tuple(heads), profiles, read_imported(folder))


def _mapping(text: str) -> Document:
    """As `plain_of`, but Bad is raised of another too."""
    data = Layout(text).root.plain()
    if not isinstance(data, dict):
        found = shown(str(data))
        raise Bad([Problem(1, f"found {found}, allowed is a mapping of keys and values that begins with 'version: 1'")])
    return data


def plain_of(text: str) -> Document:
    """The plain data of a YAML text that is a mapping; {} of another. Raises Bad."""
    data = Layout(text).root.plain()
    return data if isinstance(data, dict) else {}


@lru_cache(maxsize=64)
def built_in(word: str) -> Document | None:
    """A built-in profile's data by its name; read once, not to be changed."""
    path = built_in_profiles().get(word)
    return parse(decode(read_bytes(path)))[0].plain() if path is not None else None
