"""Every fault that mutmut's table of changes can plant in a file, less those that no test ought to notice.

The table is mutmut's, the walk is ours: mutmut's own leaves out properties, decorated functions and all that stands
outside functions (constants, defaults of dataclasses), and that is where many of our numbers are.
"""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import libcst as cst
from libcst.metadata import CodeRange, MetadataWrapper, PositionProvider
from mutmut.mutation.mutators import mutation_operators

LEFT_OUT = {
    "docstrings": "strings that are statements",
    "type hints": "annotations and type aliases (NewName = a type)",
    "wording": "strings with a blank in them that are given to an error, a warning or a log",
    "__repr__": "what only a person debugging sees",
    "decorators": "as mutmut does: mostly frozen and slots of dataclasses",
    "len, isinstance": "the arguments, as mutmut does: None for one of them cannot go unnoticed",
}
_SPEAKERS = ("Error", "Refused", "Warning")
_LOGS = {"log", "logger", "logging"}


@dataclass(frozen=True)
class Fault:
    """One change of one file. `lines`: first and last line of the statement that is changed."""

    path: Path
    line: int
    lines: tuple[int, int]
    module: cst.Module
    old: cst.CSTNode
    new: cst.CSTNode

    def source(self) -> str:
        """The whole file with the fault in it."""
        changed = self.module.deep_replace(self.old, self.new)
        assert isinstance(changed, cst.Module)
        return changed.code

    def difference(self) -> list[str]:
        """The changed lines, `- before` and `+ after`."""
        both = (text.splitlines() for text in (self.module.code, self.source()))
        return [
            f"{line[0]} {line[1:].strip()}" for line in list(difflib.unified_diff(*both, n=0))[2:] if line[0] in "-+"
        ]


def faults_in(path: Path, shown: Path) -> tuple[list[Fault], Counter[str]]:
    """The faults of a file, named `shown`, and how many were left out for which reason of LEFT_OUT."""
    wrapper = MetadataWrapper(cst.parse_module(path.read_text()))
    walk = _Walk(shown, wrapper.module)
    wrapper.visit(walk)
    return walk.faults, walk.left_out


def _changes(node: cst.CSTNode) -> Iterator[cst.CSTNode]:
    for kind, operator in mutation_operators:
        if isinstance(node, kind):
            yield from operator(node)


def _count(node: cst.CSTNode) -> int:
    return sum(1 for _ in _changes(node)) + sum(_count(child) for child in node.children)


class _Walk(cst.CSTVisitor):
    METADATA_DEPENDENCIES = (PositionProvider,)

    def __init__(self, path: Path, module: cst.Module) -> None:
        super().__init__()
        self.faults: list[Fault] = []
        self.left_out: Counter[str] = Counter()
        self._path, self._module = path, module
        self._speaking = 0
        self._statement: tuple[int, int] | None = None
        self._near = (1, 1)

    def on_visit(self, node: cst.CSTNode) -> bool:
        reason = _reason(node, self._speaking > 0)
        if reason is not None:
            self.left_out[reason] += _count(node)
            return False
        self._speaking += _speaks(node)
        where = self.get_metadata(PositionProvider, node, None)
        if isinstance(where, CodeRange):  # operators such as `is` have no position of their own
            self._near = where.start.line, where.end.line
        if isinstance(node, cst.SimpleStatementLine):
            self._statement = self._near
        lines = self._statement or self._near
        self.faults += [Fault(self._path, self._near[0], lines, self._module, node, new) for new in _changes(node)]
        return True

    def on_leave(self, original_node: cst.CSTNode) -> None:
        self._speaking -= _speaks(original_node)
        if isinstance(original_node, cst.SimpleStatementLine):
            self._statement = None


def _reason(node: cst.CSTNode, speaking: bool) -> str | None:
    if isinstance(node, cst.Annotation) or _is_alias(node):
        return "type hints"
    if isinstance(node, cst.Decorator):
        return "decorators"
    if isinstance(node, cst.Expr) and isinstance(node.value, cst.SimpleString | cst.ConcatenatedString):
        return "docstrings"
    if isinstance(node, cst.FunctionDef) and node.name.value == "__repr__":
        return "__repr__"
    if speaking and isinstance(node, cst.BaseString) and " " in cst.Module([]).code_for_node(node):
        return "wording"
    if isinstance(node, cst.Call) and isinstance(node.func, cst.Name) and node.func.value in {"len", "isinstance"}:
        return "len, isinstance"
    return None


def _is_alias(node: cst.CSTNode) -> bool:
    """`Slots = npt.NDArray[np.uint8]`: one capitalised name that is given a type."""
    if not isinstance(node, cst.Assign) or len(node.targets) != 1 or not isinstance(node.targets[0].target, cst.Name):
        return False
    name = node.targets[0].target.value
    return name[:1].isupper() and not name.isupper() and _is_type(node.value)


def _is_type(node: cst.BaseExpression) -> bool:
    if isinstance(node, cst.BinaryOperation):
        return isinstance(node.operator, cst.BitOr) and _is_type(node.left) and _is_type(node.right)
    if isinstance(node, cst.Subscript):
        return _is_type(node.value)
    name = node.attr if isinstance(node, cst.Attribute) else node
    return isinstance(name, cst.Name) and (name.value[:1].isupper() or name.value in _BUILT_IN_TYPES)


_BUILT_IN_TYPES = {"int", "float", "str", "bool", "bytes", "bytearray", "tuple", "list", "dict", "set", "None"}


def _speaks(node: cst.CSTNode) -> bool:
    if isinstance(node, cst.Raise):
        return True
    if not isinstance(node, cst.Call):
        return False
    if isinstance(node.func, cst.Attribute):
        return isinstance(node.func.value, cst.Name) and node.func.value.value.lstrip("_") in _LOGS
    return isinstance(node.func, cst.Name) and node.func.value.endswith(_SPEAKERS)
