"""The keys of a window: which act when, and when they are left to a page laid over it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Protocol

from PySide6.QtCore import QObject
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QWidget

from app.models.key_bindings import KEYS, Act, Key


class Controller(Protocol):
    """Anything that answers keys."""

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What each of its keys does."""


def acts_of(*controllers: Controller) -> dict[Act, Callable[[], None]]:
    """What the keys of all of them do."""
    return {act: do for controller in controllers for act, do in controller.acts().items()}


class Shortcuts(QObject):
    """Keys of the board act only while it is shown and nothing is laid over it."""

    def __init__(
        self,
        window: QWidget,
        acts: Mapping[Act, Callable[[], None]],
        watching: Callable[[], bool],
        covered: Callable[[], bool],
    ) -> None:
        super().__init__(window)
        self._acts, self._watching, self._covered = acts, watching, covered
        self._made = [self._shortcut(key, window) for key in KEYS]

    def _shortcut(self, key: Key, window: QWidget) -> tuple[Key, QShortcut]:
        shortcut = QShortcut(QKeySequence(key.sequence), window)
        shortcut.setAutoRepeat(key.act in (Act.UP, Act.DOWN))
        shortcut.activated.connect(lambda: self._press(key))
        shortcut.setEnabled(not key.watching)
        return key, shortcut

    def _is_free(self, key: Key) -> bool:
        free = key.anywhere or not self._covered()
        return free and (self._watching() or not key.watching)

    def _press(self, key: Key) -> None:
        if self._is_free(key):
            self._acts[key.act]()

    def refresh(self) -> None:
        """A page came or went: leave it the keys that it may want for itself."""
        for key, shortcut in self._made:
            shortcut.setEnabled(self._is_free(key))
