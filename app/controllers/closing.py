"""The way out, step by step: Esc, the start page, closing. Nobody ends a live watch by mistake."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from PySide6.QtCore import QObject, Signal

from app.views.widgets.overlay import Layer, Question

STOP_WORDS: Final = "The alarms stop. The recorder goes on by itself; nothing on it is touched."
CLOSE_WORDS: Final = (
    f"{STOP_WORDS} Or close only this window: the watch and its log go on without display or "
    "sound until trackwarden is opened again."
)
STOP: Final = "Stop watching"
UNSAVED: Final = "Save the plan?"
UNSAVED_WORDS: Final = (
    "It was changed while watching and is in no file yet: the next watch lacks it."
)


class Closing(QObject):
    """Asks before a live watch ends, and before a plan that is in no file is lost.

    unsaved, save : whether the plan in use is in no file; saves it, False where that failed
    left : the watch is to end, the start page is wanted
    close_wanted : the window is to close; `decided` is True by then
    detached : the window is to let go of the watch, which goes on
    """

    left = Signal()
    close_wanted = Signal()
    detached = Signal()

    def __init__(
        self, layer: Layer, is_live: Callable[[], bool], steps: Sequence[Callable[[], bool]]
    ) -> None:
        """`steps`: what Esc closes first, topmost first; each says whether there was anything."""
        super().__init__(layer)
        self._layer, self._is_live, self._steps = layer, is_live, steps
        self.decided = False
        self._question: Question | None = None
        self.unsaved: Callable[[], bool] = lambda: False
        self.save: Callable[[], bool] = lambda: True

    def back(self) -> None:
        """Close what lies on top; where nothing does, leave for the start page."""
        if any(step() for step in self._steps):
            return
        if self.unsaved():
            self._ask_for_plan(lambda: self._ask_first(self.left.emit, STOP_WORDS))
        else:
            self._ask_first(self.left.emit, STOP_WORDS)

    def may_close(self) -> bool:
        """The window may go now; False where it was asked first."""
        if self.decided:
            return True
        if self.unsaved():
            self._ask_for_plan(self._ask_to_close)
            return False
        if not self._is_live():
            return True
        self._ask_to_close()
        return False

    def interrupt(self) -> None:
        """Ctrl+C in the terminal: the window is to close; a second one says yes to its question."""
        if self._question is not None and self._question.isVisible():
            self.close_now()
        else:
            self.close_wanted.emit()

    def _ask_to_close(self) -> None:
        if not self._is_live():
            self.close_now()
            return
        self._ask_first(self.close_now, CLOSE_WORDS, ("Close, keep watching", self._close_only))

    def _ask_for_plan(self, go_on: Callable[[], None]) -> None:
        """Save the plan first, or go on without it."""

        def save() -> None:
            if self.save():
                go_on()

        below = self._layer.below
        self._layer.open(
            Question(below, UNSAVED, UNSAVED_WORDS, "Save it", save, ("Go on without", go_on))
        )

    def close_now(self) -> None:
        """Close without asking."""
        self.decided = True
        self.close_wanted.emit()

    def _close_only(self) -> None:
        self.detached.emit()
        self.close_now()

    def _ask_first(
        self,
        act: Callable[[], None],
        words: str,
        other: tuple[str, Callable[[], None]] | None = None,
    ) -> None:
        if self._is_live():
            self._question = Question(self._layer.below, f"{STOP}?", words, STOP, act, other)
            self._layer.open(self._question)
        else:
            act()
