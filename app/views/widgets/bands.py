"""Bands over the board: not rolling, a break, the engine does not answer."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QWidget

from app.views.widgets.basics import Elided, plain, say

STANDBY_WORDS = (
    "Not rolling. Only muted, input-lost and samples-lost alarms stay active. R: rolling again"
)


class Band(QWidget):
    """A plain, large mark with a line of words; hidden until it is needed."""

    def __init__(self, name: str, mark: str, words: str = "") -> None:
        super().__init__()
        self.setObjectName(name)
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setAccessibleName(f"{mark}: {words}")
        self.mark, self.words = mark, Elided()
        say(self.words, words)
        self.row = QHBoxLayout(self)
        self.row.addWidget(plain(mark, "mark"))
        self.row.addWidget(self.words, 1)
        self.hide()

    def say(self, words: str) -> None:
        """Show the band with these words."""
        if self.words.text() != words:
            say(self.words, words)
            self.setAccessibleName(f"{self.mark}: {words}")
        self.setVisible(True)

    def set_scale(self, scale: float) -> None:
        """Height and spacing at that size."""
        self.setFixedHeight(round(38 * scale))
        self.row.setContentsMargins(round(18 * scale), 0, round(18 * scale), 0)
        self.row.setSpacing(round(18 * scale))
