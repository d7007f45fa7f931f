"""Fetches axe-core, the accessibility checks that tests/system run in Chromium, from the npm registry. No node needed.

    python tools/fetch_axe.py [FOLDER]        FOLDER: where axe.min.js goes, default .venv/share

Does nothing the second time. The package's integrity is written here: anything else is refused, whoever serves it.
The registry is npm's own setting where npm is installed; a proxy is taken from HTTPS_PROXY.
"""

from __future__ import annotations

import base64
import hashlib
import io
import shutil
import subprocess
import sys
import tarfile
import urllib.request
from pathlib import Path

VERSION = "4.14.1"
INTEGRITY = "sha512-FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ=="
REGISTRY = "https://registry.npmjs.org/"
MEMBER = "package/axe.min.js"
FOLDER = Path(__file__).resolve().parents[1] / ".venv" / "share"
MOST_OCTETS = 20_000_000
WAIT_S = 60


def registry() -> str:
    """Where packages come from on this machine, ending with a slash."""
    npm = shutil.which("npm")
    if npm is None:
        return REGISTRY
    try:
        said = subprocess.run([npm, "config", "get", "registry"], capture_output=True, text=True, timeout=WAIT_S)
    except (OSError, subprocess.TimeoutExpired):
        return REGISTRY
    url = said.stdout.strip()
    return url.rstrip("/") + "/" if said.returncode == 0 and url.startswith(("http://", "https://")) else REGISTRY


def script_of(package: bytes, integrity: str = INTEGRITY) -> bytes:
    """The script in a package as npm packs it. Raises ValueError where it is not the very package asked for."""
    found = "sha512-" + base64.b64encode(hashlib.sha512(package).digest()).decode()
    if found != integrity:
        raise ValueError(f"expected a package of integrity {integrity}, found {found}: not what axe-core published")
    with tarfile.open(fileobj=io.BytesIO(package), mode="r:gz") as archive:
        member = archive.extractfile(MEMBER) if MEMBER in archive.getnames() else None
        if member is None:
            raise ValueError(f"the package holds no {MEMBER}")
        return member.read()


def fetch(folder: Path) -> Path:
    """`axe.min.js` in the folder, fetched unless its stamp says that it is there. Raises OSError or ValueError."""
    script, stamp = folder / "axe.min.js", folder / "axe.stamp"
    if script.is_file() and stamp.is_file() and stamp.read_text() == _stamp(script.read_bytes()):
        return script
    url = f"{registry()}axe-core/-/axe-core-{VERSION}.tgz"
    print(f"tools: fetching {url}", file=sys.stderr)
    with urllib.request.urlopen(url, timeout=WAIT_S) as answer:
        text = script_of(answer.read(MOST_OCTETS))
    folder.mkdir(parents=True, exist_ok=True)
    script.write_bytes(text)
    stamp.write_text(_stamp(text))
    return script


def _stamp(script: bytes) -> str:
    return f"{INTEGRITY} {hashlib.sha256(script).hexdigest()}\n"


def main() -> int:
    """0, or 1 with what went wrong in one line."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER
    try:
        fetch(folder)
    except (OSError, ValueError) as error:
        print(f"tools: axe-core {VERSION} could not be had: {error}; tests that need it will not pass", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
