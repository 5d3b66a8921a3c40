"""A thread that reads a take a few blocks ahead, so that reading and measuring overlap."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable

from engine.model.messages import Block


class ReadAhead:
    """Calls `produce` on a thread of its own and keeps at most `depth` blocks waiting.

    libsndfile runs without Python's lock, so this uses a second core. What `produce` raises is
    raised by `get`, after the blocks that came before it.
    """

    def __init__(self, produce: Callable[[], Block], depth: int) -> None:
        self._produce = produce
        self._queue: queue.Queue[Block | Exception] = queue.Queue(depth)
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="read ahead", daemon=True)
        self._thread.start()

    def get(self, timeout_s: float) -> Block | None:
        """The next block, or None where it is not there in that time."""
        try:
            item = self._queue.get(timeout=timeout_s)
        except queue.Empty:
            return None
        if isinstance(item, Exception):
            raise item
        return item

    def close(self) -> None:
        """Stop the thread and wait for it."""
        self._stop.set()
        # A full queue may hold the thread up: make room until it has seen the stop.
        while self._thread.is_alive():
            while not self._queue.empty():
                self._queue.get_nowait()
            self._thread.join(0.01)

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self._queue.put(self._produce())
            except Exception as failure:  # handed to the reader, who can do something about it
                self._queue.put(failure)
                return
