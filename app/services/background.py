"""Work that must not hold up the window: one thread does it, the window's own takes the result."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from typing import Final

from PySide6.QtCore import QObject, Signal

WAIT_S: Final = 3.0
"""How long the window waits, as it closes, for a piece of work to end."""


class Background(QObject):
    """One piece of work after the other, in the order they were asked for.

    `failed` carries one line where a piece of work raised; `answered` is how results reach the
    window's thread, with the function that takes them.
    """

    failed = Signal(str)
    answered = Signal(object, object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.answered.connect(lambda take, result: take(result))
        self._tasks: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._thread: threading.Thread | None = None

    def ask(self, work: Callable[[], object], take: Callable[..., None]) -> None:
        """Do `work` on the thread and hand its result to `take` on the window's; returns at once.

        What `work` raises is not handed on: it is said by `failed`.
        """
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, name="background", daemon=True)
            self._thread.start()
        self._tasks.put(lambda: self.answered.emit(take, work()))

    def close(self, wait_s: float = WAIT_S) -> None:
        """Let what is being done end, for a while, then stop the thread."""
        thread, self._thread = self._thread, None
        if thread is not None:
            self._tasks.put(None)
            thread.join(wait_s)

    def _run(self) -> None:
        while (task := self._tasks.get()) is not None:
            try:
                task()
            except Exception as error:  # one piece of work that fails must not end the others
                self.failed.emit(" ".join(str(error).split()) or type(error).__name__)
