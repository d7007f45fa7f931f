"""Opens what the panel needs, in an order that leaves nothing half done, and runs it until it is told to stop."""

from __future__ import annotations

import asyncio
import contextlib
import signal
import sys
from collections.abc import Callable, Collection
from pathlib import Path

from bridge.panel.focus_asks import FocusAsks
from bridge.panel.folder import ShowFolder
from bridge.panel.import_asks import LARGE, ImportAsks
from bridge.panel.import_files import Uploads
from bridge.panel.options import Options
from bridge.panel.panel import Panel, files
from bridge.panel.reload import Reload
from bridge.panel.solving import Solving
from bridge.panel.stage_asks import StageAsks
from bridge.panel.tracked_asks import TrackedAsks
from bridge.web.hosts import is_loopback
from bridge.web.key import kept_key
from bridge.web.site import Site
from bridge.web.tls import open_warning, tls_context, tls_warning

EVERYWHERE = {"0.0.0.0", "::", ""}


async def serve(show: Path, options: Options, hosts: Collection[str], say: Callable[[str], None]) -> None:
    """Serve the panel of a show until SIGTERM, SIGINT or, where asked for, the end of standard input.

    `hosts`: names and addresses of this machine for pages from elsewhere. Raises ShowError, InputError, NetworkError.
    """
    folder = ShowFolder(show, options.poses_file)
    host, port = options.listen
    local = is_loopback(host)
    tls = tls_context(*options.tls) if options.tls else None
    key = kept_key(options.state)  # on loopback nobody is asked for it, but what a proxy here passes on is
    panel = Panel(folder, options.bridge, options.venue, options.record)
    solving = Solving(show, panel.tell)
    reload, uploads = Reload(panel), Uploads(options.state)
    imports = ImportAsks(panel, uploads, reload, say)
    focus = FocusAsks(panel, solving)
    for asked in (focus, StageAsks(panel, reload), TrackedAsks(panel), imports):
        panel.answers.update(asked.table)
    panel.listeners += [focus.heard, reload.heard_news]
    panel.leavers.append(uploads.left)
    site = Site(
        host, port, files(), panel.page, what="The panel", holder="a panel that still runs",
        hosts=() if local else hosts, key=key, tls=tls,
        routes=[*panel.routes, *imports.routes], large=LARGE, say=say,
    )  # fmt: skip
    stopping = asyncio.Event()
    _stop_on_signals(stopping)
    if options.until_eof:
        await _stop_at_end_of_input(stopping)
    try:
        uploads.open()
        await panel.open()
        address = await site.start()
        for text in _addresses(address, host, site.port, hosts, "" if local else key.text, tls is not None):
            say(text)
        for warning in (open_warning(host, tls is not None), tls_warning(options.tls[0]) if options.tls else ""):
            if warning:
                say(f"WARNING: {warning}")
        await stopping.wait()
    finally:
        await site.stop("the panel stops")
        await imports.close()
        await solving.close()
        await panel.close()


def _addresses(address: str, host: str, port: int, hosts: Collection[str], key: str, tls: bool) -> list[str]:
    """What is printed: where the page is, from where, and with which key."""
    scheme = "https" if tls else "http"
    if not key:
        return [f"panel: {address}"]
    names = sorted(hosts) if host in EVERYWHERE else [host]
    found = [f"panel: {scheme}://{f'[{name}]' if ':' in name else name}:{port}/?key={key}" for name in names]
    return found


def _stop_on_signals(stopping: asyncio.Event) -> None:
    loop = asyncio.get_running_loop()
    for which in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(which, stopping.set)


async def _stop_at_end_of_input(stopping: asyncio.Event) -> None:
    """Who started us holds the other end of our standard input; when it dies, the end is read here."""

    class Watch(asyncio.Protocol):
        def connection_lost(self, exc: Exception | None) -> None:
            stopping.set()

    with contextlib.suppress(ValueError, OSError):
        await asyncio.get_running_loop().connect_read_pipe(Watch, sys.stdin)
