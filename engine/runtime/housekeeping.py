"""What an engine does beside its watch: heartbeat, keeper, bounded error file, lines left over."""

from __future__ import annotations

import os
import threading
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Final

from engine.runtime import keeper
from engine.runtime.ipc import BEAT_S
from engine.runtime.patience import Patience
from engine.runtime.server import Server
from engine.runtime.wire import Alive, State
from engine.session import engines

STUCK_S: Final = 15.0
"""A watch that takes no turn for this long is ended and another engine started."""

_KEEPER_S: Final = 5.0
_LEFT_OVER_S: Final = 60.0
_MOST_WORDS: Final = 1_000_000


class Housekeeping:
    """Threads of one engine that go on whatever its watch does.

    Parameters
    ----------
    folder : Path
        The session's folder.
    server : Server
    """

    def __init__(self, folder: Path, server: Server) -> None:
        self._folder, self._server = folder, server
        self._over = threading.Event()
        self._turn = Patience(2 * BEAT_S, time.monotonic())
        self._keeper_job: bytes | None = None
        self._keeper_due = 0.0

    def start(self) -> None:
        """Start the threads."""
        threading.Thread(target=self._beat, name="heartbeat", daemon=True).start()
        threading.Thread(target=self._write_left_over, name="left over", daemon=True).start()

    def stop(self) -> None:
        """Let the threads end."""
        self._over.set()

    def keep_with(self, job: bytes) -> None:
        """From now on have a keeper beside this engine, to start that job should all break off."""
        self._keeper_job = job

    def turned(self) -> None:
        """The watch has taken a turn."""
        self._turn.came()

    def heartbeat(self, now_s: float) -> State:
        """For how long the watch has taken no turn, by the steady clock: a driver may hang."""
        return Alive(self._turn.look(now_s))

    def _beat(self) -> None:
        while not self._over.wait(BEAT_S):
            safely(lambda: self._server.publish(self.heartbeat(time.monotonic())))
            safely(self._server.look_after)
            safely(self.bound_words)
            safely(self._see_to_keeper)

    def _write_left_over(self) -> None:
        """Sessions that ended while the disk was full are written once there is room."""
        from engine.session.resume import write_left_over

        while not self._over.is_set():
            safely(lambda: write_left_over(self._folder))
            self._over.wait(_LEFT_OVER_S)

    def _see_to_keeper(self) -> None:
        """Of a live watch: show that it takes turns, and have somebody who looks."""
        if self._keeper_job is None:
            return
        if self._turn.waited_s < STUCK_S:
            engines.beat(self._folder)
        if time.monotonic() >= self._keeper_due:
            self._keeper_due = time.monotonic() + _KEEPER_S
            keeper.start_beside(engines.runtime_of(self._folder), self._keeper_job)

    def bound_words(self) -> None:
        """A driver may complain for hours."""
        with suppress(OSError):
            words = engines.words_of(self._folder)
            if words.stat().st_size > _MOST_WORDS:
                os.truncate(words, 0)


def safely(do: Callable[[], object]) -> None:
    """A thread that must go on, whatever happens in one round."""
    try:
        do()
    except Exception:
        traceback.print_exc()
