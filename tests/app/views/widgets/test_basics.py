"""Small parts: whole words in every state."""

from __future__ import annotations

import pytest
from PySide6.QtWidgets import QStyle, QStyleOptionButton, QWidget
from pytestqt.qtbot import QtBot

from app.style.theme import NIGHT, sheet
from app.views.widgets.basics import Button


@pytest.mark.parametrize("scale", [0.86, 1.0, 1.75])
@pytest.mark.parametrize("primary", [False, True])
def test_a_button_with_the_focus_keeps_its_words_whole(
    qtbot: QtBot, primary: bool, scale: float
) -> None:
    """Its heavier frame takes nothing of the room that the words need."""
    window = QWidget()
    qtbot.addWidget(window)
    window.setStyleSheet(sheet(NIGHT, scale))
    button = Button("Write the report", "Enter", main=True)
    if primary:
        button.as_primary()
    button.setParent(window)
    window.show()
    button.adjustSize()
    button.setFocus()
    qtbot.waitUntil(button.hasFocus)
    option = QStyleOptionButton()
    button.initStyleOption(option)
    inside = button.style().subElementRect(QStyle.SubElement.SE_PushButtonContents, option, button)
    metrics = button.fontMetrics()
    assert inside.width() >= metrics.horizontalAdvance(button.text())
    assert inside.height() >= metrics.height()
