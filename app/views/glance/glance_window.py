"""The glance view as a window of its own, for a second screen."""

from __future__ import annotations

from PySide6.QtCore import QByteArray, Qt, Signal
from PySide6.QtGui import QCloseEvent, QGuiApplication
from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.style import state_shapes
from app.style.theme import Look
from app.views.glance.glance_view import Glance


class GlanceWindow(QWidget):
    """`closed` is emitted when it goes, by whatever hand."""

    closed = Signal()

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.setWindowTitle("trackwarden: glance")
        self.setWindowIcon(state_shapes.window_icon())
        self.setMinimumSize(480, 270)
        self.view = Glance(look)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.view)

    def open(self, place: QByteArray, beside: QWidget) -> None:
        """Show it where it stood last, else filling the first screen that `beside` is not on."""
        if not (place.size() and self.restoreGeometry(place)):
            others = [s for s in QGuiApplication.screens() if s is not beside.screen()]
            self.resize(960, 540)
            if others:
                self.setGeometry(others[0].availableGeometry())
                self.setWindowState(Qt.WindowState.WindowFullScreen)
        self.show()
        self.raise_()
        self.activateWindow()

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802
        """Tell."""
        self.closed.emit()
        super().closeEvent(event)
