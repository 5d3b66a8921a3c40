"""What runs beside a watch when its command asks for it: the page for phones."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from app.page.launch import PageWish, Watching, launch_when_running

MADE = "made"


def add_page(parser: argparse.ArgumentParser) -> None:
    """The options of the page."""
    parser.add_argument(
        "--page",
        nargs="?",
        const="",
        metavar="ADDRESS:PORT",
        help="share the glance view with phones on the private network; prints what to open",
    )
    parser.add_argument(
        "--page-tls",
        nargs="?",
        const=MADE,
        default="",
        metavar="PEM",
        help="encrypt the page: with the certificate and key in this file, else with one made now",
    )


def start(arguments: argparse.Namespace, client: Watching) -> None:
    """Start what the command asks for, once the client's watch runs; waits for nothing."""
    if arguments.page is not None or arguments.page_tls:
        wish = PageWish(arguments.page or "", arguments.page_tls)
        launch_when_running(client, wish, _say)


def _say(said: dict[str, Any]) -> None:
    """One line with the whole address; with a certificate its fingerprint behind it."""
    if "error" in said:
        print(f"trackwarden: no page: {said['error']}", file=sys.stderr, flush=True)
        return
    mark = said.get("fingerprint", "")
    print(
        f"page: {said['address']}" + (f"  certificate SHA-256 {mark}" if mark else ""),
        file=sys.stderr,
        flush=True,
    )
