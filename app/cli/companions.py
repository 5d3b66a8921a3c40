"""What runs beside a watch when its command asks for it: the page for phones, the publisher."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from app.fleet import broker_address
from app.page.launch import MADE, PageWish, Watching, launch_when_running, publish_when_running


def add_options(parser: argparse.ArgumentParser) -> None:
    """The options of both."""
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
    parser.add_argument(
        "--publish",
        type=_cart,
        metavar="mqtt://HOST/SITE/CART",
        help="publish the watch to the crew's MQTT broker, for `overview` and others",
    )


def start(arguments: argparse.Namespace, client: Watching) -> None:
    """Start what the command asks for, once the client's watch runs; waits for nothing."""
    if arguments.page is not None or arguments.page_tls:
        site = broker_address.site_of(arguments.publish) if arguments.publish else ""
        wish = PageWish(arguments.page or "", arguments.page_tls, site)
        launch_when_running(client, wish, _say)
    if arguments.publish is not None:
        publish_when_running(client, arguments.publish)


def _cart(text: str) -> str:
    try:
        broker_address.parse(text, cart=True)
    except broker_address.BrokerAddressError as error:
        raise argparse.ArgumentTypeError(str(error)) from None
    return text


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
