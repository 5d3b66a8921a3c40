"""Sets a report's blocks on pages: where each line, table row and picture goes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QTextOption

from app.report.qt_drawing import paint
from app.style import theme
from engine.report.layout import palette, severity_marks
from engine.report.layout.blocks import (
    Block,
    Cell,
    Column,
    Facts,
    Heading,
    Pictures,
    Table,
    Text,
    Tone,
)
from engine.report.layout.drawing import Drawing

UNITS_A_POINT: Final = 10.0
"""Fonts have whole sizes: a tenth of a point is fine enough."""

Draw = Callable[[QPainter], None]

_BODY: Final = 8.2
_TABLE: Final = 7.6
_HEADS: Final = {1: 16.0, 2: 12.0, 3: 9.8}
_ABOVE: Final = {1: 0.0, 2: 10.0, 3: 9.0}
_KEEP: Final = 48.0
"""A heading stays with what follows: so much room must be left below it, points."""

_MOST_KEPT: Final = 0.5
"""Pictures that take less of a page than this stay together."""

_PAD: Final = 2.0
_GUTTER: Final = 16.0
_MARK: Final = 7.5
_TONES: Final = {
    Tone.PLAIN: palette.INK,
    Tone.DIM: palette.DIM,
    Tone.GOOD: palette.COVER,
    Tone.BAD: palette.RED,
}


class Typesetter:
    """Fills pages of that size, in tenths of a point; `pages` holds what to draw on each."""

    def __init__(self, painter: QPainter, width: float, height: float) -> None:
        self.width = width
        self.height = height
        self.pages: list[list[Draw]] = [[]]
        self._painter = painter
        self._family = theme.family()
        self._y = 0.0

    def set(self, block: Block, after: Sequence[Block] = ()) -> None:
        """Set one block after the others; `after` are those to come, for a heading to stay with."""
        match block:
            case Heading():
                self._heading(block, self._first_height(after))
            case Text():
                bold = block.tone is Tone.BAD
                self._paragraph(block.text, _BODY, QColor(_TONES[block.tone]), bold=bold)
            case Facts():
                self._facts(block)
            case Table():
                self._table(block)
            case Pictures():
                self._pictures(block)

    # ---- text --------------------------------------------------------------------------------

    def font(self, points: float, *, bold: bool = False) -> QFont:
        """The report's font in that size, with figures of equal width."""
        return theme.font(points * UNITS_A_POINT, bold, self._family)

    def write(
        self,
        painter: QPainter,
        text: str,
        box: QRectF,
        points: float,
        colour: QColor,
        *,
        bold: bool = False,
        right: bool = False,
    ) -> None:
        """Write text into a box, broken where it must."""
        painter.setFont(self.font(points, bold=bold))
        painter.setPen(colour)
        painter.drawText(box, text, _option(right=right))

    def text_height(self, text: str, width: float, points: float, *, bold: bool = False) -> float:
        """How high that text gets in that width."""
        self._painter.setFont(self.font(points, bold=bold))
        box = self._painter.boundingRect(QRectF(0, 0, width, 1e6), text, _option())
        return float(box.height())

    def _paragraph(self, text: str, points: float, colour: QColor, *, bold: bool = False) -> None:
        height = self.text_height(text, self.width, points, bold=bold)
        top = self._room(height)
        box = QRectF(0, top, self.width, height + UNITS_A_POINT)
        self._draw(lambda p: self.write(p, text, box, points, colour, bold=bold))
        self._y += 2.0 * UNITS_A_POINT

    def _first_height(self, blocks: Sequence[Block]) -> float:
        """What must follow a heading on its page: some lines; all pictures, else the first row."""
        height = 0.0
        for block in blocks:
            if isinstance(block, Text):
                height += self.text_height(block.text, self.width, _BODY) + 2.0 * UNITS_A_POINT
                continue
            if isinstance(block, Pictures) and block.drawings:
                rows = [
                    max(drawing.height for drawing in row) * scale + _below(block)
                    for scale, row in self._picture_rows(block)
                ]
                together = sum(rows) < _MOST_KEPT * self.height
                return height + (sum(rows) if together else rows[0]) - _below(block)
            break
        return _KEEP * UNITS_A_POINT

    def _heading(self, heading: Heading, keep: float) -> None:
        if heading.new_page:
            self._new_page()
        points = _HEADS[heading.level]
        if self._y:
            self._y += _ABOVE[heading.level] * UNITS_A_POINT
        height = self.text_height(heading.text, self.width, points, bold=True)
        if self._y and self._y + height + keep > self.height:
            self._new_page()
        self._paragraph(heading.text, points, QColor(palette.INK), bold=True)

    def _facts(self, facts: Facts) -> None:
        """Pairs side by side; one that is too long for a line gets lines of its own."""
        x, line = 0.0, self.text_height("Ag", self.width, _BODY)
        gap = 14.0 * UNITS_A_POINT
        top = self._room(line)
        for name, value in facts.pairs:
            name_width = self._text_width(name + " ", bold=False)
            width = name_width + self._text_width(value, bold=True) + UNITS_A_POINT
            if x and x + width > self.width:
                x, top = 0.0, self._room(line)
            room = self.width - x - name_width
            height = self.text_height(value, room, _BODY, bold=True)
            if height > line * 1.5:
                self._room(height - line)
            self._draw_fact(name, value, QRectF(x, top, name_width, line), room, height)
            x += width + gap
        self._y += 4.0 * UNITS_A_POINT

    def _draw_fact(self, name: str, value: str, box: QRectF, room: float, height: float) -> None:
        value_box = QRectF(box.right(), box.top(), room, height + UNITS_A_POINT)
        dim, ink = QColor(palette.DIM), QColor(palette.INK)
        self._draw(lambda p: self.write(p, name, box, _BODY, dim))
        self._draw(lambda p: self.write(p, value, value_box, _BODY, ink, bold=True))

    def _text_width(self, text: str, *, bold: bool) -> float:
        self._painter.setFont(self.font(_BODY, bold=bold))
        return float(self._painter.fontMetrics().horizontalAdvance(text)) + 2.0

    # ---- tables ------------------------------------------------------------------------------

    def _table(self, table: Table) -> None:
        whole = sum(column.share for column in table.columns)
        widths = [self.width * column.share / whole for column in table.columns]
        heads = [Cell(column.name, tone=Tone.DIM) for column in table.columns]
        headed = any(column.name for column in table.columns)
        if headed:
            self._row(heads, table.columns, widths, line=palette.EDGE)
        for number, row in enumerate(table.rows):
            height = self._row_height(row, widths)
            if self._y + height > self.height and self._y:
                self._new_page()
                if headed:
                    self._row(heads, table.columns, widths, line=palette.EDGE)
            ground = palette.STRIPE if number % 2 else ""
            self._row(row, table.columns, widths, ground=ground, line=palette.LINE)
        self._y += 5.0 * UNITS_A_POINT

    def _row_height(self, row: Sequence[Cell], widths: Sequence[float]) -> float:
        pad = 2 * _PAD * UNITS_A_POINT
        return pad + max(
            self.text_height(cell.text, _inner(cell, width), _TABLE, bold=cell.bold)
            for cell, width in zip(row, widths, strict=True)
        )

    def _row(
        self,
        row: Sequence[Cell],
        columns: Sequence[Column],
        widths: Sequence[float],
        *,
        line: str,
        ground: str = "",
    ) -> None:
        height = self._row_height(row, widths)
        top = self._room(height)
        if ground:
            box = QRectF(0, top, self.width, height)
            self._draw(lambda p: p.fillRect(box, QColor(ground)))
        x = 0.0
        for cell, column, width in zip(row, columns, widths, strict=True):
            self._cell(cell, QRectF(x, top, width, height), right=column.right)
            x += width
        foot = QRectF(0, top + height - 4.0, self.width, 4.0)
        self._draw(lambda p: p.fillRect(foot, QColor(line)))

    def _cell(self, cell: Cell, box: QRectF, *, right: bool) -> None:
        pad = _PAD * UNITS_A_POINT
        indent = _indent(cell)
        inner = QRectF(box.x() + pad + indent, box.y() + pad, _inner(cell, box.width()), 1e5)
        inner.setHeight(box.height())
        colour = QColor(_TONES[cell.tone])
        self._draw(
            lambda p: self.write(p, cell.text, inner, _TABLE, colour, bold=cell.bold, right=right)
        )
        if cell.mark is not None:
            drawing = severity_marks.drawing(cell.mark)
            x, y = box.x() + pad, box.y() + pad + 1.2 * UNITS_A_POINT
            self._draw(lambda p: paint(drawing, p, x, y, _MARK * UNITS_A_POINT))

    # ---- pictures ----------------------------------------------------------------------------

    def _picture_rows(self, pictures: Pictures) -> list[tuple[float, tuple[Drawing, ...]]]:
        """The rows, and how much each is enlarged so that it fits width and page."""
        across = pictures.across
        width = (self.width - _GUTTER * UNITS_A_POINT * (across - 1)) / across
        drawings = pictures.drawings
        rows = [drawings[start : start + across] for start in range(0, len(drawings), across)]
        return [
            (min(width / row[0].width, *(self.height / d.height for d in row)), row) for row in rows
        ]

    def _pictures(self, pictures: Pictures) -> None:
        gutter = _GUTTER * UNITS_A_POINT
        across = pictures.across
        width = (self.width - gutter * (across - 1)) / across
        for scale, row in self._picture_rows(pictures):
            top = self._room(max(d.height for d in row) * scale)
            for place, drawing in enumerate(row):
                self._picture(drawing, place * (width + gutter), top, drawing.width * scale)
            self._y += _below(pictures)

    def _picture(self, drawing: Drawing, x: float, y: float, width: float) -> None:
        self._draw(lambda p: self._paint_picture(p, drawing, x, y, width))

    def _paint_picture(
        self, painter: QPainter, drawing: Drawing, x: float, y: float, width: float
    ) -> None:
        painter.setFont(self.font(_BODY))
        paint(drawing, painter, x, y, width)

    # ---- pages -------------------------------------------------------------------------------

    def _room(self, height: float) -> float:
        """Where something of that height goes; on a new page where this one is full."""
        if self._y + height > self.height and self._y:
            self._new_page()
        top = self._y
        self._y += height
        return top

    def _new_page(self) -> None:
        if self.pages[-1]:
            self.pages.append([])
        self._y = 0.0

    def _draw(self, draw: Draw) -> None:
        self.pages[-1].append(draw)


def _below(pictures: Pictures) -> float:
    """The room below each row of pictures."""
    return (8.0 if pictures.across > 1 else 3.0) * UNITS_A_POINT


def _option(*, right: bool = False) -> QTextOption:
    align = Qt.AlignmentFlag.AlignRight if right else Qt.AlignmentFlag.AlignLeft
    option = QTextOption(align | Qt.AlignmentFlag.AlignTop)
    option.setWrapMode(QTextOption.WrapMode.WrapAtWordBoundaryOrAnywhere)
    option.setTextDirection(Qt.LayoutDirection.LeftToRight)
    return option


def _indent(cell: Cell) -> float:
    return 0.0 if cell.mark is None else (_MARK + 3.0) * UNITS_A_POINT


def _inner(cell: Cell, width: float) -> float:
    """What a cell's text has of its column's width."""
    return width - 2 * _PAD * UNITS_A_POINT - 2.0 * UNITS_A_POINT - _indent(cell)
