"""A page's files, read once at start and served from memory by exact name: no request can name any other file."""

from __future__ import annotations

import gzip
from collections.abc import Awaitable, Callable, Mapping
from pathlib import Path

from aiohttp import web

SHARED = Path(__file__).parent / "page"  # drawing code that every page may import
CONTENT_TYPES = {
    ".html": "text/html",
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".webmanifest": "application/manifest+json",
}
Files = Mapping[str, tuple[bytes, str]]


def read_pages(*folders: Path) -> dict[str, tuple[bytes, str]]:
    """The files of these folders as of one, by name: bytes and content type. Only types that a page is made of.

    Raises ValueError where two folders hold a file of one name: which of the two was meant, nobody could see.
    """
    found: dict[str, tuple[bytes, str]] = {}
    for folder in folders:
        for path in sorted(folder.iterdir()):
            if not path.is_file() or path.suffix not in CONTENT_TYPES:
                continue
            if path.name in found:
                raise ValueError(f"{path}: another folder of this page has a file of this name")
            found[path.name] = (path.read_bytes(), CONTENT_TYPES[path.suffix])
    return found


def server_of(files: Files) -> Callable[[web.Request], Awaitable[web.StreamResponse]]:
    """A handler for `/{name:.*}`; an empty name is index.html. Packed once for who takes gzip (RFC 9110, 8.4.1)."""

    packed = {name: gzip.compress(body, mtime=0) for name, (body, kind) in files.items() if kind != "image/png"}

    async def handler(request: web.Request) -> web.StreamResponse:
        name = request.match_info["name"] or "index.html"
        found = files.get(name)
        if found is None:
            return web.Response(status=404, text="This page has no such file.")
        body, kind = found
        if name not in packed:
            return web.Response(body=body, content_type=kind)
        headers = {"Vary": "Accept-Encoding"}
        if "gzip" in request.headers.get("Accept-Encoding", ""):
            body, headers["Content-Encoding"] = packed[name], "gzip"
        return web.Response(body=body, content_type=kind, charset="utf-8", headers=headers)

    return handler
