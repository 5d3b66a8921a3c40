"""The keys of a window: which act when, and when they are left to a page laid over it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QWidget

from app.window.keys import KEYS, Act, Key

if TYPE_CHECKING:
    from app.window.main_window import MainWindow


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
        free = not self._covered() and (self._watching() or not key.watching)
        return free or key.act is Act.BACK

    def _press(self, key: Key) -> None:
        if self._is_free(key):
            self._acts[key.act]()

    def refresh(self) -> None:
        """A page came or went: leave it the keys that it may want for itself."""
        for key, shortcut in self._made:
            shortcut.setEnabled(self._is_free(key))


def acts_of(window: MainWindow) -> dict[Act, Callable[[], None]]:
    """What each key of the table does to that window."""
    does, overlays = window.acts, window.overlays
    return {
        Act.SEEN: does.see,
        Act.ALL_SEEN: does.see_all,
        Act.SHELVE: does.shelve,
        Act.SHELVE_LONG: does.shelve_long,
        Act.SHELVE_OPEN: does.shelve_open,
        Act.UNDO: does.undo,
        Act.NOTE: does.note,
        Act.MARK: does.mark,
        Act.MARK_WORDS: does.mark_words,
        Act.BATTERY: does.battery,
        Act.OUT: does.out_of_service,
        Act.STANDBY: does.standby,
        Act.BREAK: does.take_break,
        Act.GLANCE: window.toggle_glance,
        Act.GLANCE_WINDOW: window.toggle_glance_window,
        Act.CLOSER: window.look_closer,
        Act.HISTORY: overlays.show_history,
        Act.QUIET: window.toggle_quiet,
        Act.CHIME: overlays.show_settings,
        Act.SETTINGS: overlays.show_settings,
        Act.UP: lambda: window.step(-1),
        Act.DOWN: lambda: window.step(1),
        Act.LOOK: window.toggle_look,
        Act.FULL_SCREEN: window.toggle_full_screen,
        Act.HELP: overlays.show_help,
        Act.BACK: window.leaving.back,
        **window.headphones.acts(),
        **window.line_checks.acts(),
        **window.plans.acts(),
        **window.reports.acts(),
    }
