"""What a stream of this process is really connected to, where a sound server stands in between.

PulseAudio, and PipeWire in its place, move a stream to another source when its own goes: the
samples then come from another microphone, and nothing tells the program that records. `pactl`
(module of both) says which source each stream is connected to, and when that changes.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Any, Final

POLL_S: Final = 2.0
"""Looked at anew this often even where no event came. Ours."""

_ANSWER_S: Final = 5.0
_TRIES: Final = 8
_TRY_S: Final = 0.1
_EVENTS: Final = ("source-output", "source #", "server")


def connected_source(pid: int) -> str | None:
    """Name of the server's source that the process's stream records from; None where unknown."""
    outputs, sources = _ask("source-outputs"), _ask("sources")
    names = {source.get("index"): source.get("name") for source in sources}
    for output in outputs:
        owner = output.get("properties", {}).get("application.process.id")
        if owner == str(pid):
            name = names.get(output.get("source"))
            return None if name is None else str(name)
    return None


def _soon_connected(pid: int) -> str | None:
    """The same of a stream that has just begun, which the server may not list yet."""
    for _ in range(_TRIES):
        if not _ask("sources"):
            return None  # no server here
        source = connected_source(pid)
        if source is not None:
            return source
        time.sleep(_TRY_S)
    return None


def _ask(what: str) -> list[dict[str, Any]]:
    try:
        answer = subprocess.run(
            ["pactl", "-f", "json", "list", what],
            capture_output=True,
            timeout=_ANSWER_S,
            check=True,
        )
        found = json.loads(answer.stdout)
    except (OSError, subprocess.SubprocessError, ValueError):
        return []
    return [one for one in found if isinstance(one, dict)]


class ServerConnection:
    """Watches what this process's recording stream is connected to; says once that it changed.

    Parameters
    ----------
    wanted : str
        Name of the source that it is to be; empty for whichever it is now.
    moved : callable
        Called once, on a thread of its own, with the name of the other source.
    """

    def __init__(self, wanted: str, moved: Callable[[str], None]) -> None:
        self._moved = moved
        self.source = ""
        """The source it was connected to at first; empty where no sound server knows the stream."""
        if shutil.which("pactl") is None:
            return
        now = _soon_connected(os.getpid())
        if now is None:
            return
        self.source = wanted or now
        if now != self.source:
            moved(now)
            return
        self._changed = threading.Event()
        threading.Thread(target=self._listen, name="server events", daemon=True).start()
        threading.Thread(target=self._look, name="server connection", daemon=True).start()

    def _listen(self) -> None:
        """Wake the other thread at each event; without events it polls."""
        command = ["pactl", "subscribe"]
        with (
            suppress(OSError),
            subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as events,
        ):
            assert events.stdout is not None
            for line in events.stdout:
                if any(word in line for word in _EVENTS):
                    self._changed.set()

    def _look(self) -> None:
        while True:
            self._changed.wait(POLL_S)
            self._changed.clear()
            now = connected_source(os.getpid())
            if now is not None and now != self.source:
                self._moved(now)
                return
