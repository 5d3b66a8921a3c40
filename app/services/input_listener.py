"""Listens to the inputs that the start page lists, so that each can show what arrives."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, Protocol

from PySide6.QtCore import QObject, QTimer, Signal

from app.models.input_lights import Lights
from app.models.live_input import Input
from engine.model.messages import Levels
from engine.sources.base import SourceError

EACH_MS: Final = 150
MOST: Final = 6
"""Inputs listened to at one time; each takes a process. Ours."""
BUSY: Final = "can't be opened: in use, perhaps by a watch"


class Peaks(Protocol):
    """An input that is listened to."""

    def read(self) -> Levels | None:
        """Peak of each channel since, dBFS; None where nothing came. May raise SourceError."""

    def close(self) -> None:
        """Let go of it."""


class InputLights(QObject):
    """`changed` carries the index of an input and its `Lights`.

    listen : opens an input without waiting; None: nothing is listened to
    """

    changed = Signal(int, object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.listen: Callable[[Input], Peaks] | None = None
        self._open: dict[int, Peaks] = {}
        self._lights: dict[int, Lights] = {}
        self._timer = QTimer(self, interval=EACH_MS)
        self._timer.timeout.connect(self.poll)

    def start(self, inputs: Sequence[Input]) -> None:
        """Listen to the first of them, and to no others."""
        self.stop()
        if self.listen is None:
            return
        for one in inputs[:MOST]:
            try:
                self._open[one.index] = self.listen(one)
            except SourceError:
                self.changed.emit(one.index, Lights(problem=BUSY))
            else:
                self.changed.emit(one.index, Lights())
        if self._open:
            self._timer.start()

    def poll(self) -> None:
        """Show what came since."""
        for index, source in list(self._open.items()):
            try:
                peaks = source.read()
            except SourceError:
                self._open.pop(index).close()
                self.changed.emit(index, Lights(problem=BUSY))
                continue
            if peaks is None:
                continue
            before = self._lights.get(index, Lights())
            self._lights[index] = before.after(peaks.tolist(), EACH_MS / 1000.0)
            self.changed.emit(index, self._lights[index])

    def stop(self) -> None:
        """Let go of all of them: a watch may need one for itself."""
        self._timer.stop()
        for source in self._open.values():
            source.close()
        self._open.clear()
        self._lights.clear()
