"""The list of live inputs with their lights."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor
from pytestqt.qtbot import QtBot

from app.models.input_lights import Lights
from app.style.theme import LOOKS
from app.views.input_list import InputList
from tests.support.qt.pages import INPUTS, FakeInput


@pytest.fixture
def inputs(qtbot: QtBot) -> InputList:
    """Two inputs, the first with sound on half of its channels."""
    shown = InputList()
    qtbot.addWidget(shown)
    shown.resize(700, 300)
    shown.set_inputs(INPUTS)
    shown.set_lights(0, Lights().after([-20.0] * 8 + [-200.0] * 8, 0.1))
    shown.show()
    return shown


def bright(shown: InputList, look: str) -> list[int]:
    """Where, across the window, the first entry has pixels of a bright light."""
    image = shown.grab().toImage()
    ink = QColor(LOOKS[look].ink).rgb()
    row = shown.visualItemRect(shown.item(0))
    y = row.top() + round(row.height() * 0.72)
    return [x for x in range(image.width()) if image.pixel(x, y) == ink]


@pytest.mark.parametrize("look", LOOKS)
def test_used_channels_are_lit(inputs: InputList, look: str) -> None:
    """Lit fields stand where the channels in use are: in the first half of the row of lights."""
    inputs.set_look(LOOKS[look])
    lit = bright(inputs, look)
    assert len(lit) > 40
    inputs.set_lights(0, Lights().after([-20.0] * 16, 0.1))
    assert max(bright(inputs, look)) > max(lit)


def test_lights_begin_at_the_right_where_one_reads_from_there(inputs: InputList) -> None:
    """Right-to-left turns the row of lights round."""
    left = bright(inputs, "night")
    inputs.setLayoutDirection(Qt.LayoutDirection.RightToLeft)
    assert min(bright(inputs, "night")) > max(left)


def test_what_is_lit_is_said_as_well(inputs: InputList) -> None:
    """A screen reader gets the count."""
    said = inputs.item(0).data(Qt.ItemDataRole.AccessibleTextRole)
    assert "8 of 16 carry a signal" in said


def test_the_choice_stays_when_inputs_are_looked_for_again(inputs: InputList) -> None:
    """Plugging in another one does not change what is chosen."""
    inputs.setCurrentRow(1)
    inputs.set_inputs([FakeInput(0, "Camera", 2), *INPUTS])
    assert inputs.input is not None
    assert inputs.input.name == "Built-in microphone"
