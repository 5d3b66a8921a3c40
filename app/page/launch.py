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


Keep = Callable[["subprocess.Popen[bytes]"], None]
"""Takes over a process that was started."""


def let_go(process: subprocess.Popen[bytes]) -> None:
    """Ask no more how it ends: it outlives us, and there is nothing to complain of."""
    if process.stdout is not None:
        process.stdout.close()
    if process.poll() is None:
        process.returncode = 0


def launch(folder: Path, wish: PageWish, keep: Keep = let_go) -> dict[str, Any]:
    """The page of the session in that folder: what it says of itself, or {"error": …}.

    Waits until it listens; the process goes on without its parent. Once it does, `keep` gets it.
    """
    given = {"--tls": wish.tls, "--site": wish.site, "--login": wish.login, "--ca": wish.ca}
    words = [word for option, value in given.items() if value for word in (option, value)]
    process = start(folder, "app.page.page_process", wish.where or ":", *words)
    assert process.stdout is not None
    try:
        said = json.loads(process.stdout.readline())
    except ValueError:
        said = None
    if not isinstance(said, dict):
        said = {"error": "the page could not start"}
    (let_go if "error" in said else keep)(process)
    return said


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


def start_publisher(
    folder: Path, address: str, login: str = "", ca: str = "", keep: Keep = let_go
) -> None:
    """Have the watch of that session published; whoever does it already ends."""
    given = {"--login": login, "--ca": ca}
    words = [word for option, value in given.items() if value for word in (option, value)]
    keep(start(folder, "app.fleet.publisher", address, *words))


def publish_when_running(client: Watching, address: str, keep: Keep = let_go) -> None:
    """The same on a thread, once the client's watch runs."""

    def work() -> None:
        if _wait_until_running(client):
            start_publisher(client.folder, address, keep=keep)

    threading.Thread(target=work, name="launcher", daemon=True).start()


def _wait_until_running(client: Watching) -> bool:
    from engine.session import engines  # not needed to say what the options are

    until = time.monotonic() + WAITS_S
    while engines.running_in(client.folder) is None:
        if time.monotonic() > until or not client.folder.exists():
            return False
        time.sleep(0.1)
    return True


def launch_when_running(
    client: Watching,
    wish: PageWish,
    done: Callable[[dict[str, Any]], None],
    keep: Keep = let_go,
) -> None:
    """The same on a thread, once the client's watch runs; `done` is called there."""

    def work() -> None:
        if _wait_until_running(client):
            done(launch(client.folder, wish, keep))

    threading.Thread(target=work, name="page launcher", daemon=True).start()
