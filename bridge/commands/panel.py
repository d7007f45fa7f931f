"""`tetherlight panel SHOW`: the page from which a bridge is operated."""

from __future__ import annotations

import argparse
import asyncio
from pathlib import Path

from bridge.errors import InputError


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SHOW, where the bridge is, and where the page is served."""
    parser.add_argument("show", type=Path, metavar="SHOW", help="the show folder")
    parser.add_argument(
        "--bridge", metavar="ADDRESS:PORT", help="where the bridge hears OSC (default: `osc: listen` of the show)"
    )
    parser.add_argument(
        "--listen", metavar="ADDRESS:PORT", help="where the page is served (default: `panel: listen` of the show)"
    )
    parser.add_argument("--tls", nargs=2, type=Path, metavar=("CERT", "KEY"), help="serve by HTTPS: two PEM files")
    parser.add_argument("--state", type=Path, metavar="DIR", help="state folder (default $XDG_STATE_HOME/tetherlight)")
    parser.add_argument("--venue", metavar="ADDRESS:PORT", help="the page of a simulated venue, for practice")
    parser.add_argument("--record", type=Path, metavar="FOLDER", help="where `run --record FOLDER` keeps captures")
    parser.add_argument("--until-eof", action="store_true", help="end when standard input ends")


def run(args: argparse.Namespace) -> int:
    """Serve until a signal; 0, 2 for bad files or arguments, 3 when a port cannot be opened."""
    from bridge.daemon.interfaces import own_addresses, resolve_address
    from bridge.daemon.state import default_state_folder, show_folder
    from bridge.panel.options import Options
    from bridge.panel.serve import serve
    from bridge.show.load import load
    from bridge.web.hosts import machine_hosts
    from bridge.wire.settings import PanelSettings

    network = load(args.show).network
    panel = network.panel or PanelSettings()
    state = args.state or default_state_folder()
    bridge = _place("--bridge", args.bridge) if args.bridge else (network.osc.host, network.osc.port)
    listen = _place("--listen", args.listen) if args.listen else (panel.host, panel.port)
    options = Options(
        bridge=(resolve_address(bridge[0]), bridge[1]),
        listen=(resolve_address(listen[0]), listen[1]),
        state=state,
        poses_file=show_folder(state, args.show) / "poses.json",
        tls=tuple(args.tls) if args.tls else None,
        venue=_place("--venue", args.venue) if args.venue else None,
        until_eof=args.until_eof,
        record=args.record,
    )

    def say(text: str) -> None:
        print(text, flush=True)

    asyncio.run(serve(args.show, options, machine_hosts(own_addresses().values()), say))
    return 0


def _place(option: str, text: str) -> tuple[str, int]:
    """HOST:PORT. Raises InputError."""
    host, _, port = text.rpartition(":")
    if not host or not port.isascii() or not port.isdigit() or int(port) > 65535:
        raise InputError(f"{option} {text!r}: expected ADDRESS:PORT, such as 127.0.0.1:8787")
    return host.strip("[]"), int(port)
