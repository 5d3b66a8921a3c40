"""The list of live inputs, each with a light for every channel."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRect, QSize, Qt
from PySide6.QtGui import QColor, QPainter
from PySide6.QtWidgets import (
    QListWidget,
    QListWidgetItem,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
)

from app.models.input_lights import Light, Lights
from app.models.live_input import Input
from app.style import wording
from app.style.theme import NIGHT, Look
from engine.model.commands import Open

LOOKING: Final = "Looking for inputs…"
NO_INPUT: Final = "No input found. Plug one in, then look again."
_REQUEST = Qt.ItemDataRole.UserRole
_INPUT = _REQUEST + 1
_LIGHTS = _REQUEST + 2
_LINES: Final = 2.9
"""Height of an entry, in lines of its text."""


class _Entry(QStyledItemDelegate):
    """Name and form of an input, and its lights below."""

    look = NIGHT

    def sizeHint(  # noqa: N802
        self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> QSize:
        """Room for the lights where there are any."""
        usual = super().sizeHint(option, index)
        if index.data(_INPUT) is None:
            return usual
        return QSize(usual.width(), round(_LINES * option.fontMetrics.height()))

    def paint(
        self,
        painter: QPainter,
        option: QStyleOptionViewItem,
        index: QModelIndex | QPersistentModelIndex,
    ) -> None:
        """Ground and mark of the choice by the style, words and lights by hand."""
        one = index.data(_INPUT)
        if one is None:
            super().paint(painter, option, index)
            return
        ground = QStyleOptionViewItem(option)
        self.initStyleOption(ground, index)
        words, ground.text = ground.text, ""
        style = option.widget.style()
        style.drawControl(QStyle.ControlElement.CE_ItemViewItem, ground, painter, option.widget)
        line = option.fontMetrics.height()
        room = option.rect.adjusted(line, line // 3, -line // 2, -line // 3)
        painter.save()
        top = QRect(room.left(), room.top(), room.width(), line)
        painter.setPen(QColor(self.look.ink))
        along = Qt.AlignmentFlag.AlignLeading | Qt.AlignmentFlag.AlignVCenter
        align = QStyle.visualAlignment(option.direction, along)
        shown = option.fontMetrics.elidedText(words, Qt.TextElideMode.ElideMiddle, top.width())
        painter.drawText(top, int(align), shown)
        below = QRect(room.left(), top.bottom() + line // 3, room.width(), line)
        self._lights(painter, option, below, index.data(_LIGHTS) or Lights())
        painter.restore()

    def _lights(
        self, painter: QPainter, option: QStyleOptionViewItem, room: QRect, lights: Lights
    ) -> None:
        """One field a channel, then the count."""
        wide = option.fontMetrics.horizontalAdvance(lights.words)
        count = max(len(lights.lights), 1)
        pitch = max(3, min(round(room.height() * 0.8), (room.width() - wide - 20) // count))
        gap = max(1, pitch // 6)
        colours = {
            Light.DARK: self.look.bg,
            Light.DIM: self.look.ribbon,
            Light.BRIGHT: self.look.ink,
        }
        for number, light in enumerate(lights.lights):
            x = room.left() + number * pitch
            box = QRect(x, room.top() + 2, pitch - gap, room.height() - 4)
            box = QStyle.visualRect(option.direction, room, box)
            painter.fillRect(box, QColor(colours[light]))
        used = len(lights.lights) * pitch
        rest = QRect(room.left() + used + (12 if used else 0), room.top(), wide + 4, room.height())
        painter.setPen(QColor(self.look.dim))
        rest = QStyle.visualRect(option.direction, room, rest)
        painter.drawText(rest, int(Qt.AlignmentFlag.AlignCenter), lights.words)


class InputList(QListWidget):
    """Live inputs to choose from; `request` opens the chosen one."""

    def __init__(self) -> None:
        super().__init__()
        self.setAccessibleName("Live inputs")
        self._entry = _Entry(self)
        self.setItemDelegate(self._entry)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)

    def set_look(self, look: Look) -> None:
        """Night or day."""
        self._entry.look = look
        self.viewport().update()

    def set_inputs(self, inputs: Sequence[Input] | str | None) -> None:
        """List them; None while they are being looked for, words where that failed."""
        before = self.input
        self.clear()
        if not inputs:
            inputs = LOOKING if inputs is None else NO_INPUT
        if isinstance(inputs, str):
            item = QListWidgetItem(inputs)
            item.setFlags(Qt.ItemFlag.NoItemFlags)
            self.addItem(item)
            return
        known = [f"{one.name}, {one.host_api}" for one in inputs]
        for one, name in zip(inputs, known, strict=True):
            words = f"{one.name}   ·   {wording.channels(one.channels)}"
            more = f"{one.host_api}, {one.default_rate_hz / 1000:g} kHz"
            item = QListWidgetItem(f"{words}   ·   {more}")
            # By name: the index may be another input's once something is plugged in or out.
            item.setData(_REQUEST, Open(device=name if known.count(name) == 1 else one.index))
            item.setData(_INPUT, one)
            self.addItem(item)
        same = [n for n, one in enumerate(inputs) if before is not None and one.name == before.name]
        self.setCurrentRow(same[0] if same else 0)

    def set_lights(self, index: int, lights: Lights) -> None:
        """What arrives at the input of that index."""
        for row in range(self.count()):
            item = self.item(row)
            one = item.data(_INPUT)
            if one is not None and one.index == index:
                item.setData(_LIGHTS, lights)
                item.setData(Qt.ItemDataRole.AccessibleTextRole, f"{item.text()}, {lights.words}")

    @property
    def carried(self) -> tuple[int, ...]:
        """Channels of the chosen input that carried something, from 1; empty where unknown."""
        item = self.currentItem()
        lights: Lights | None = None if item is None else item.data(_LIGHTS)
        ever = () if lights is None else lights.carried
        return tuple(number for number, one in enumerate(ever, start=1) if one)

    @property
    def input(self) -> Input | None:
        """The live input that is chosen."""
        item = self.currentItem()
        data: Input | None = None if item is None else item.data(_INPUT)
        return data

    @property
    def request(self) -> Open | None:
        """What opens it."""
        item = self.currentItem()
        data: Open | None = None if item is None else item.data(_REQUEST)
        return data
