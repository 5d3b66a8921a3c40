"""What runs beside a watch when its command asks for it: the page for phones, the publisher."""

from __future__ import annotations

import argparse
import subprocess
import sys
from collections.abc import Callable
from functools import partial
from typing import Any, Final

from app.fleet import broker_address
from app.page.launch import (
    MADE,
    Keep,
    PageWish,
    Watching,
    launch_when_running,
    let_go,
    publish_when_running,
)

RESTARTS: Final = 3
WITHIN_S: Final = 600.0
"""What ends more often than that in so short a time has a cause that a start does not mend."""
LOOK_S: Final = 2.0


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
    for begin in _asked(arguments, client).values():
        begin(let_go)


def _asked(arguments: argparse.Namespace, client: Watching) -> dict[str, Callable[[Keep], None]]:
    """What the command asks for, and how it is started."""
    asked: dict[str, Callable[[Keep], None]] = {}
    if arguments.page is not None or arguments.page_tls:
        site = broker_address.site_of(arguments.publish) if arguments.publish else ""
        wish = PageWish(arguments.page or "", arguments.page_tls, site)
        asked["page"] = partial(launch_when_running, client, wish, _say_page)
    if arguments.publish is not None:
        asked["publisher"] = partial(publish_when_running, client, arguments.publish)
    return asked


class Companions:
    """Page and publisher of a watch in the terminal: one that dies is said and started again."""

    def __init__(self, arguments: argparse.Namespace, client: Watching) -> None:
        """Start what the command asks for, once the client's watch runs; waits for nothing."""
        self._client = client
        self._asked = _asked(arguments, client)
        self._restarts_at: dict[str, list[float]] = {name: [] for name in self._asked}
        self._processes: dict[str, subprocess.Popen[bytes]] = {}
        self._looked_at = -LOOK_S
        self._problem = ""
        self._published = False
        for name in self._asked:
            self._start(name)

    def _start(self, name: str) -> None:
        self._asked[name](partial(self._processes.__setitem__, name))

    def look(self, now: float) -> None:
        """Say what has changed with them at `now`, s of a steady clock; looks now and then."""
        if not self._asked or now - self._looked_at < LOOK_S:
            return
        self._looked_at = now
        for name, process in list(self._processes.items()):
            if process.poll() is not None:
                del self._processes[name]
                let_go(process)
                if process.returncode != 0:  # else it was told to end
                    self._mourn(name, now)
        if "publisher" in self._processes:
            self._look_at_broker()

    def _mourn(self, name: str, now: float) -> None:
        lately = [at for at in self._restarts_at[name] if now - at <= WITHIN_S]
        self._restarts_at[name] = [*lately, now]
        if len(lately) >= RESTARTS:
            _say(f"the {name} ended again and is left so: why stands in {self._client.folder}")
            return
        self._published &= name != "publisher"
        code = ", with a new code for phones" if name == "page" else ""
        _say(f"the {name} ended: it is started again{code}; the watch goes on")
        self._start(name)

    def _look_at_broker(self) -> None:
        from app.fleet import publishing  # not needed to say what the options are

        stands = publishing.status(self._client.folder)
        if not self._published and (stands is None or stands.problem == "connecting"):
            return  # it is just beginning
        self._published = True
        problem = "the publisher does not answer" if stands is None else stands.problem
        if problem != self._problem:
            _say(f"not at the broker: {problem}" if problem else "published again")
        self._problem = problem

    def close(self) -> None:
        """They outlive the terminal."""
        for process in self._processes.values():
            let_go(process)


def _cart(text: str) -> str:
    try:
        broker_address.parse(text, cart=True)
    except broker_address.BrokerAddressError as error:
        raise argparse.ArgumentTypeError(str(error)) from None
    return text


def _say_page(said: dict[str, Any]) -> None:
    """One line with the whole address; with a certificate its fingerprint behind it."""
    if "error" in said:
        _say(f"trackwarden: no page: {said['error']}")
        return
    mark = said.get("fingerprint", "")
    _say(f"page: {said['address']}" + (f"  certificate SHA-256 {mark}" if mark else ""))


def _say(words: str) -> None:
    print(words, file=sys.stderr, flush=True)
