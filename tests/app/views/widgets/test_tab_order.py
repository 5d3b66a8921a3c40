"""Tab inside one page."""

from __future__ import annotations

import random

import pytest
from PySide6.QtCore import QRect
from PySide6.QtWidgets import QPushButton, QWidget
from pytestqt.qtbot import QtBot

from app.views.widgets.tab_order import go_on, in_reading_order, stops_in


@pytest.mark.parametrize("mirrored", [False, True])
def test_lines_are_read_from_top_to_bottom(qtbot: QtBot, mirrored: bool) -> None:
    """However the parts were made; a lower one beside a taller one is on its line."""
    boxes = {
        "title": QRect(0, 0, 400, 30),
        "first": QRect(0, 40, 100, 30),
        "second": QRect(110, 45, 100, 20),
        "last": QRect(0, 90, 50, 30),
    }
    parts = {QPushButton(name): box for name, box in boxes.items()}
    for part in parts:
        qtbot.addWidget(part)
    mixed = random.Random(3).sample(sorted(parts, key=QPushButton.text), len(parts))
    order = in_reading_order({part: parts[part] for part in mixed}, mirrored)
    middle = ["second", "first"] if mirrored else ["first", "second"]
    assert [part.text() for part in order] == ["title", *middle, "last"]


def test_it_goes_round(qtbot: QtBot) -> None:
    """On from the last to the first, back from the first to the last; what is hidden or can't be
    used is passed over."""
    page = QWidget()
    qtbot.addWidget(page)
    parts = [QPushButton(str(n), page) for n in range(5)]
    for n, part in enumerate(parts):
        part.move(0, 40 * n)
    parts[1].hide()
    parts[3].setEnabled(False)
    page.resize(100, 300)
    page.show()
    parts[1].hide()
    assert stops_in(page) == [parts[0], parts[2], parts[4]]
    qtbot.waitUntil(page.isActiveWindow)
    parts[4].setFocus()
    go_on(page, forward=True)
    assert parts[0].hasFocus()
    go_on(page, forward=False)
    assert parts[4].hasFocus()
