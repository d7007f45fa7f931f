"""What runs inside a forked child, in a copy of the tree: pytest, once to see who tests what, then for every fault."""

from __future__ import annotations

import importlib
import json
import os
import resource
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import coverage
import hypothesis
import pytest

MEMORY = 8 << 30  # octets of address space: a loop that a fault made endless must not fill the machine
QUIET = ("-q", "-p", "no:cacheprovider", "--no-header", "--tb=no")


def enter(tree: Path, log: Path) -> None:
    """Make this process one of the tree: its folder, its imports, its output."""
    os.setsid()  # so that the parent can end what the tests started, too
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    descriptor = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    for stream in (1, 2):
        os.dup2(descriptor, stream)
    os.chdir(tree)
    assert "bridge" not in sys.modules, "a child must import the tree's bridge, not take its parent's"
    sys.path.insert(0, str(tree))
    # The same examples for every fault and every run; the shortest failing one is of no interest here.
    phases = (hypothesis.Phase.explicit, hypothesis.Phase.generate)
    hypothesis.settings.register_profile("faults", database=None, derandomize=True, deadline=None, phases=phases)
    hypothesis.settings.load_profile("faults")


class _Witness:
    """Notes for every test how long it takes and which lines it runs.

    Lines that a file of tests runs while it is imported count for the whole file; "" is the import of ours itself.
    """

    def __init__(self, measured: coverage.Coverage) -> None:
        self._measured = measured
        self.seconds: dict[str, float] = {}

    @pytest.hookimpl(wrapper=True)
    def pytest_make_collect_report(self, collector: pytest.Collector) -> Iterator[None]:
        self._measured.switch_context(collector.nodeid if isinstance(collector, pytest.Module) else "")
        report = yield
        self._measured.switch_context("")
        return report

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self._measured.switch_context(item.nodeid)
        result = yield
        self._measured.switch_context("")
        return result

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.seconds[report.nodeid] = self.seconds.get(report.nodeid, 0.0) + report.duration


def witness(tree: Path, rooms: Sequence[Path], tests: Sequence[str], answer: Path) -> int:
    """Run the tests without a fault; writes {"seconds", "lines": {file: {line: tests}}, "modules"} to `answer`."""
    include = [str(tree / room / "*") for room in rooms]
    measured = coverage.Coverage(data_file=None, include=include, config_file=False)
    seen = _Witness(measured)
    measured.start()
    for room in rooms:
        for module in sorted(room.rglob("*.py")):
            importlib.import_module(".".join(module.with_suffix("").parts))
    code = int(pytest.main([*tests, *QUIET], plugins=[seen]))
    measured.stop()
    data = measured.get_data()
    lines = {str(Path(f).relative_to(tree)): data.contexts_by_lineno(f) for f in data.measured_files()}
    modules = [name for name, module in sys.modules.items() if _is_library(module, tree)]
    answer.write_text(json.dumps({"seconds": seen.seconds, "lines": lines, "modules": modules}))
    return code


def _is_library(module: Any, tree: Path) -> bool:
    file = getattr(module, "__file__", None) or ""
    return file.startswith((sys.prefix, sys.base_prefix)) and not file.startswith(str(tree))


class _Chosen:
    """Keeps the tests that see the fault, in the order given."""

    def __init__(self, tests: Sequence[str]) -> None:
        self._place = {test: place for place, test in enumerate(tests)}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = sorted((i for i in items if i.nodeid in self._place), key=lambda i: self._place[i.nodeid])


def notice(stages: Sequence[Sequence[str]]) -> int:
    """Run the stages until a test fails; 0 if none does."""
    sys.dont_write_bytecode = True
    for tests in stages:
        files = list(dict.fromkeys(test.split("::")[0] for test in tests))
        code = int(pytest.main([*files, *QUIET, "-x"], plugins=[_Chosen(tests)])) if tests else 0
        if code:
            return code
    return 0
