"""A wheel installed elsewhere does everything that a checkout does: same files, commands and answers."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

from bridge import __version__
from bridge.cli import COMMANDS

ROOT = Path(__file__).resolve().parents[2]
SHOWS = sorted(path.parent for path in (ROOT / "configs").glob("*/rig.yaml"))


def run(*words: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    env = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV")}
    return subprocess.run(words, cwd=cwd, env=env, capture_output=True, text=True, timeout=180, check=False)


def run_well(*words: str | Path, cwd: Path) -> str:
    done = run(*words, cwd=cwd)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Built from a copy: setuptools leaves a build folder behind, and an old one hides a missing file."""
    source, out = tmp_path_factory.mktemp("source"), tmp_path_factory.mktemp("wheel")
    shutil.copytree(ROOT / "bridge", source / "bridge", ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source)
    quiet = ("--quiet", "--no-deps", "--no-index", "--no-build-isolation")
    run_well(sys.executable, "-m", "pip", "wheel", *quiet, "--wheel-dir", out, source, cwd=out)
    (built,) = out.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def elsewhere(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bin folder of a throwaway environment that holds the wheel and our dependencies, not the checkout.

    A path from a .pth file is not searched for further .pth files, so the editable installation stays unseen.
    """
    place = tmp_path_factory.mktemp("elsewhere") / "venv"
    run_well(sys.executable, "-m", "venv", "--without-pip", place, cwd=place.parent)
    python = place / "bin" / "python"
    packages = Path(run_well(python, "-c", "import site; print(site.getsitepackages()[0])", cwd=place).strip())
    (packages / "dependencies.pth").write_text(sysconfig.get_paths()["purelib"] + "\n")
    install = ("--quiet", "--no-deps", "--no-index")
    run_well(sys.executable, "-m", "pip", "--python", python, "install", *install, wheel, cwd=place)
    return place / "bin"


def test_the_wheel_holds_every_file_of_the_package(wheel: Path) -> None:
    here = {str(p.relative_to(ROOT)) for p in (ROOT / "bridge").rglob("*") if p.is_file() and p.suffix != ".pyc"}
    with zipfile.ZipFile(wheel) as archive:
        packed = {name for name in archive.namelist() if name.startswith("bridge/")}
    assert packed == here, "pyproject.toml, [tool.setuptools] packages and package-data, decides what is packed"


def test_what_is_imported_elsewhere_is_the_wheel(elsewhere: Path, tmp_path: Path) -> None:
    found = run_well(elsewhere / "python", "-c", "import bridge; print(bridge.__file__)", cwd=tmp_path)
    assert Path(found.strip()).is_relative_to(elsewhere.parent)


def test_both_names_of_the_command_run_from_an_empty_folder(elsewhere: Path, tmp_path: Path) -> None:
    for words in ([elsewhere / "tetherlight"], [elsewhere / "python", "-m", "bridge"]):
        assert run_well(*words, "--version", cwd=tmp_path).strip() == f"tetherlight {__version__}"


@pytest.mark.parametrize("command", list(COMMANDS))
def test_every_command_answers(command: str, elsewhere: Path, tmp_path: Path) -> None:
    there = run_well(elsewhere / "tetherlight", command, "--help", cwd=tmp_path)
    here = run_well(sys.executable, "-m", "bridge", command, "--help", cwd=ROOT)
    # argparse names the program by the parser, not by the file, so even the usage line is the same
    assert there == here


@pytest.mark.parametrize("show", SHOWS, ids=[show.name for show in SHOWS])
def test_example_shows_are_aimed_alike(show: Path, elsewhere: Path, tmp_path: Path) -> None:
    words = ("aim", show, "--at", "0.5", "3", "1.3", "--json")
    there = run(elsewhere / "tetherlight", *words, cwd=tmp_path)
    here = run(sys.executable, "-m", "bridge", *words, cwd=ROOT)
    assert (there.returncode, there.stdout) == (0, here.stdout), there.stdout + there.stderr


def test_the_packed_demo_show_loads_with_the_packed_profiles(elsewhere: Path, tmp_path: Path) -> None:
    where = "import bridge, pathlib; print(pathlib.Path(bridge.__file__).parent / 'demo_show')"
    show = Path(run_well(elsewhere / "python", "-c", where, cwd=tmp_path).strip())
    assert show.is_relative_to(elsewhere.parent)
    findings = json.loads(run_well(elsewhere / "tetherlight", "check", show, "--json", cwd=tmp_path))["findings"]
    assert not [finding for finding in findings if finding["level"] == "error"]
