"""Starts the page's process for a watch, once the watch runs."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, Protocol

import app
from engine.session import engines
from engine.system.platform_calls import outliving

WAITS_S: Final = 120.0
"""A demo take may have to be made first."""
MADE: Final = "made"
"""The wish for a certificate made on the spot."""
_CHECKOUT: Final = Path(app.__file__).resolve().parent.parent


@dataclass(frozen=True, slots=True)
class PageWish:
    """Where the page is to listen (empty: chosen), with which certificate (empty: none), and which
    site's carts it shows as well (mqtt://HOST/SITE, empty: none) with which files of the login."""

    where: str = ""
    tls: str = ""
    site: str = ""
    login: str = ""
    ca: str = ""


class Watching(Protocol):
    """A client of a watch, of which only the session's folder matters."""

    folder: Path


def launch(folder: Path, wish: PageWish) -> dict[str, Any]:
    """The page of the session in that folder: what it says of itself, or {"error": …}.

    Waits until it listens; the process goes on without its parent.
    """
    given = {"--tls": wish.tls, "--site": wish.site, "--login": wish.login, "--ca": wish.ca}
    words = [word for option, value in given.items() if value for word in (option, value)]
    process = start(folder, "app.page.page_process", wish.where or ":", *words)
    assert process.stdout is not None
    line = process.stdout.readline()
    _let_go(process)
    try:
        said = json.loads(line)
    except ValueError:
        return {"error": "the page could not start"}
    return said if isinstance(said, dict) else {"error": "the page could not start"}


def start(folder: Path, module: str, *words: str) -> subprocess.Popen[bytes]:
    """Run that module for the session in that folder; it goes on without its parent.

    What it says on standard error is kept in the session's folder.
    """
    with open(folder / f"{module.rpartition('.')[2]}.txt", "ab") as errors:
        return subprocess.Popen(
            [sys.executable, "-m", module, str(folder), *words],
            cwd=_CHECKOUT,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=errors,
            **outliving(),
        )


def _let_go(process: subprocess.Popen[bytes]) -> None:
    if process.stdout is not None:
        process.stdout.close()
    if process.poll() is None:
        process.returncode = 0  # meant to outlive us: nothing to complain of


def start_publisher(folder: Path, address: str, login: str = "", ca: str = "") -> None:
    """Have the watch of that session published; whoever does it already ends."""
    given = {"--login": login, "--ca": ca}
    words = [word for option, value in given.items() if value for word in (option, value)]
    _let_go(start(folder, "app.fleet.publisher", address, *words))


def publish_when_running(client: Watching, address: str) -> None:
    """The same on a thread, once the client's watch runs."""

    def work() -> None:
        if _wait_until_running(client):
            start_publisher(client.folder, address)

    threading.Thread(target=work, name="launcher", daemon=True).start()


def _wait_until_running(client: Watching) -> bool:
    until = time.monotonic() + WAITS_S
    while engines.running_in(client.folder) is None:
        if time.monotonic() > until or not client.folder.exists():
            return False
        time.sleep(0.1)
    return True


def launch_when_running(
    client: Watching, wish: PageWish, done: Callable[[dict[str, Any]], None]
) -> None:
    """The same on a thread, once the client's watch runs; `done` is called there."""

    def work() -> None:
        if _wait_until_running(client):
            done(launch(client.folder, wish))

    threading.Thread(target=work, name="page launcher", daemon=True).start()
