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
from engine.session import folders

WAITS_S: Final = 120.0
"""A demo take may have to be made first."""
_CHECKOUT: Final = Path(app.__file__).resolve().parent.parent


@dataclass(frozen=True, slots=True)
class PageWish:
    """Where the page is to listen (empty: chosen), and with which certificate (empty: none)."""

    where: str = ""
    tls: str = ""


class Watching(Protocol):
    """A client of a watch, of which only the session's folder matters."""

    folder: Path


def launch(folder: Path, wish: PageWish) -> dict[str, Any]:
    """The page of the session in that folder: what it says of itself, or {"error": …}.

    Waits until it listens; the process goes on without its parent.
    """
    command = [sys.executable, "-m", "app.page.page_process", str(folder), wish.where or ":"]
    command += ["--tls", wish.tls] if wish.tls else []
    with open(folder / "page.txt", "ab") as errors:
        process = subprocess.Popen(
            command,
            cwd=_CHECKOUT,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=errors,
            start_new_session=True,
        )
    assert process.stdout is not None
    line = process.stdout.readline()
    process.stdout.close()
    if process.poll() is None:
        process.returncode = 0  # meant to outlive us: nothing to complain of
    try:
        said = json.loads(line)
    except ValueError:
        return {"error": "the page could not start"}
    return said if isinstance(said, dict) else {"error": "the page could not start"}


def launch_when_running(
    client: Watching, wish: PageWish, done: Callable[[dict[str, Any]], None]
) -> None:
    """The same on a thread, once the client's watch runs; `done` is called there."""

    def work() -> None:
        until = time.monotonic() + WAITS_S
        while folders.running_in(client.folder) is None:
            if time.monotonic() > until or not client.folder.exists():
                return
            time.sleep(0.1)
        done(launch(client.folder, wish))

    threading.Thread(target=work, name="page launcher", daemon=True).start()
