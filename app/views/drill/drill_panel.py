"""The strip under the board in a drill: the short list of causes, one key each."""

from __future__ import annotations

from collections.abc import Collection
from typing import Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from app.views.widgets.basics import Button, plain, say
from app.views.widgets.flow_layout import FlowLayout
from engine.model.drill_causes import CALLED, Cause

DRILL_KEYS: Final[tuple[str, ...]] = (
    *"123456789",
    *(f"F{n}" for n in (1, 2, 3, 4, 5, 6, 7, 8, 10, 12)),
    *("Shift+F1", "Shift+F2"),
)
"""F9 and F11 have their own meaning on every page."""


def key_of(cause: Cause) -> str:
    """The key that names it: 1 to 9, then F1 and on."""
    return DRILL_KEYS[CALLED.index(cause)]


class CauseButton(Button):
    """Leaves the arrows to the panel; Qt would walk through every button of the page."""

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """See `DrillPanel.keyPressEvent`."""
        if Qt.Key(event.key()) in (Qt.Key.Key_Left, Qt.Key.Key_Right):
            event.ignore()
        else:
            super().keyPressEvent(event)


class DrillPanel(QWidget):
    """`picked` carries a `Cause`; `ended` asks for the score so far."""

    picked = Signal(object)
    ended = Signal()

    def __init__(self, keys_of: QWidget) -> None:
        super().__init__()
        self.setObjectName("listen")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setAccessibleName("Drill: what is it?")
        self.heading, self.words = plain("DRILL", "title"), plain("", "bold", wrap=True)
        self.buttons: dict[Cause, Button] = {}
        self._shortcuts: list[QShortcut] = []
        self.end = Button("End", "Esc")
        self.end.setAccessibleName("End the drill")
        self.row = QHBoxLayout(self)
        left = QVBoxLayout()
        left.addWidget(self.heading)
        left.addWidget(self.words)
        left.addStretch(1)
        self.row.addLayout(left, 1)
        self.causes = FlowLayout(even=True)
        for cause in CALLED:
            button = CauseButton(cause.word, key_of(cause))
            button.clicked.connect(lambda _checked=False, c=cause: self.picked.emit(c))
            self.buttons[cause] = button
            self.causes.addWidget(button)
            shortcut = QShortcut(QKeySequence(key_of(cause)), keys_of)
            shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            shortcut.activated.connect(lambda c=cause: self._press(c))
            shortcut.setEnabled(False)
            self._shortcuts.append(shortcut)
        self.causes.addWidget(self.end)
        self.row.addLayout(self.causes, 5)
        self.end.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self._stop_at(next(iter(self.buttons.values())))
        self.end.clicked.connect(self.ended)
        self.hide()

    def showEvent(self, _event: object) -> None:  # noqa: N802
        """Its keys are free for others while it is hidden."""
        for shortcut in self._shortcuts:
            shortcut.setEnabled(True)

    def hideEvent(self, _event: object) -> None:  # noqa: N802
        """See `showEvent`."""
        for shortcut in self._shortcuts:
            shortcut.setEnabled(False)

    def _press(self, cause: Cause) -> None:
        if self.isVisible() and self.buttons[cause].isVisible():
            self.picked.emit(cause)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Left and right move from cause to cause; to Tab they are one stop."""
        by = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1}.get(Qt.Key(event.key()))
        shown = [button for button in self.buttons.values() if button.isVisible()]
        at = next((n for n, button in enumerate(shown) if button.hasFocus()), None)
        if by is None or at is None:
            super().keyPressEvent(event)
            return
        chosen = shown[(at + by) % len(shown)]
        self._stop_at(chosen)
        chosen.setFocus()

    def _stop_at(self, chosen: Button) -> None:
        for button in self.buttons.values():
            stops = button is chosen
            button.setFocusPolicy(
                Qt.FocusPolicy.TabFocus if stops else Qt.FocusPolicy.NoFocus,
            )

    def offer(self, causes: Collection[Cause]) -> None:
        """Only these can be behind a fault here; each keeps its key and its place."""
        for cause, button in self.buttons.items():
            button.setVisible(cause in causes)
        shown = [self.buttons[cause] for cause in Cause if cause in causes]
        if shown:
            self._stop_at(next((one for one in shown if one.hasFocus()), shown[0]))

    def set_scale(self, scale: float) -> None:
        """Spacing at that size."""
        edge = round(18 * scale)
        self.row.setContentsMargins(edge, round(8 * scale), edge, round(8 * scale))
        self.row.setSpacing(round(14 * scale))
        self.causes.setSpacing(round(6 * scale))

    def put(self, heading: str, words: str) -> None:
        """Level at the head, and what is asked or was said."""
        say(self.heading, heading)
        say(self.words, words, "bold")
        self.setAccessibleDescription(words)
