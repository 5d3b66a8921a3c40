"""Tab inside one page: what it reaches there, and from the last part on to the first."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QPoint, QRect, Qt
from PySide6.QtWidgets import (
    QAbstractSpinBox,
    QApplication,
    QCheckBox,
    QComboBox,
    QLineEdit,
    QListWidget,
    QPushButton,
    QScrollArea,
    QSlider,
    QTableView,
    QWidget,
)

STOPS: Final[tuple[type[QWidget], ...]] = (
    QAbstractSpinBox,
    QCheckBox,
    QComboBox,
    QLineEdit,
    QListWidget,
    QPushButton,
    QScrollArea,
    QSlider,
    QTableView,
)
"""Not all widgets along Qt's own chain: a wrapper of an inner one, made in passing, took a table's
head with it (PySide 6.11)."""


def stops_in(page: QWidget, more: tuple[type[QWidget], ...] = ()) -> list[QWidget]:
    """The parts of that page that Tab reaches, in the order in which one reads."""
    reached = {
        part: QRect(part.mapTo(page, QPoint(0, 0)), part.size())
        for kind in STOPS + more
        for part in page.findChildren(kind)
        if takes_tab(part)
    }
    return in_reading_order(reached, mirrored=page.isRightToLeft())


def takes_tab(part: QWidget) -> bool:
    """It is to be seen, can be used, and Tab may stop there."""
    by_tab = part.focusPolicy() & Qt.FocusPolicy.TabFocus == Qt.FocusPolicy.TabFocus
    return by_tab and part.focusProxy() is None and part.isVisible() and part.isEnabled()


def in_reading_order(boxes: dict[QWidget, QRect], mirrored: bool) -> list[QWidget]:
    """Line by line from top to bottom, each from its begin to its end."""
    lines: list[list[QWidget]] = []
    for part in sorted(boxes, key=lambda one: boxes[one].center().y()):
        if lines and boxes[part].center().y() <= boxes[lines[-1][0]].bottom():
            lines[-1].append(part)
        else:
            lines.append([part])
    side = -1 if mirrored else 1
    return [
        part for line in lines for part in sorted(line, key=lambda one: side * boxes[one].left())
    ]


def go_on(page: QWidget, forward: bool, more: tuple[type[QWidget], ...] = ()) -> None:
    """Give the keys to the next part of that page, where it has any."""
    stops = stops_in(page, more)
    if not stops:
        return
    now = QApplication.focusWidget()
    at = next((n for n, part in enumerate(stops) if part is now), -1 if forward else 0)
    reason = Qt.FocusReason.TabFocusReason if forward else Qt.FocusReason.BacktabFocusReason
    stops[(at + (1 if forward else -1)) % len(stops)].setFocus(reason)
