"""The end of a drill: each fault, what was made of it, and the crew's earlier drills."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFrame,
    QHBoxLayout,
    QHeaderView,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from app.style.theme import Look
from app.views.drill.qt_drawing import paint
from app.views.widgets.basics import Button, plain
from app.views.widgets.overlay import Overlay
from engine.drill.finish import Finished
from engine.drill.history_chart import picture
from engine.drill.score_sheet import HEADS, facts, heading, own, rows
from engine.report.layout.drawing import Drawing

VERDICT = 5
"""The column that says whether it was right."""


class DrawingView(QWidget):
    """A drawing as large as the widget is wide."""

    def __init__(self, drawing: Drawing) -> None:
        super().__init__()
        self._drawing = drawing
        self.setAccessibleName(drawing.title)

    def sizeHint(self) -> QSize:  # noqa: N802
        """As the drawing is."""
        return QSize(round(self._drawing.width), round(self._drawing.height))

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        """Never cut off."""
        return self.sizeHint()

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Draw it in the middle."""
        painter = QPainter(self)
        wide = min(float(self.width()), self.height() * self._drawing.width / self._drawing.height)
        paint(self._drawing, painter, (self.width() - wide) / 2, 0.0, wide)
        painter.end()


class ScorePage(Overlay):
    """`again` carries whether the same seed is wanted; `print_asked` the page to print."""

    again = Signal(bool)
    print_asked = Signal()

    def __init__(self, parent: QWidget, look: Look, done: Finished) -> None:
        super().__init__(parent)
        self.setAccessibleName("Score of the drill")
        self.done = done
        score = done.drill.score
        self.column.addWidget(plain(heading(done.drill), "title"))
        self.column.addWidget(plain(_line(facts(score)), "bold", wrap=True))
        self.table = self._table(look)
        self.column.addWidget(self.table)
        self.column.addWidget(plain(own(score), wrap=True))
        self.picture = DrawingView(
            picture(done.drills, look.ink, look.dim, look.line, look.cover, look.red)
        )
        self.column.addWidget(self.picture)
        self.column.addWidget(plain(f"To print: {done.page}", "small", wrap=True))
        self.same, self.fresh = Button("The same again", main=True), Button("A new one", main=True)
        self.to_print, self.close_it = Button("Print", main=True), Button("Close", "Esc", main=True)
        row = QHBoxLayout()
        for button in (self.close_it, self.same, self.fresh, self.to_print):
            row.addWidget(button)
        row.addStretch(1)
        self.column.addLayout(row)
        self.close_it.clicked.connect(self.hide)
        self.same.clicked.connect(lambda: self.again.emit(True))
        self.fresh.clicked.connect(lambda: self.again.emit(False))
        self.to_print.clicked.connect(self.print_asked)

    def _table(self, look: Look) -> QTableWidget:
        lines = rows(self.done.drill)
        table = QTableWidget(len(lines), len(HEADS))
        table.setTabKeyNavigation(False)
        table.setAccessibleName("Each fault of the drill")
        table.setHorizontalHeaderLabels(list(HEADS))
        table.verticalHeader().hide()
        table.setFrameShape(QFrame.Shape.NoFrame)
        table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        for y, cells in enumerate(lines):
            for x, words in enumerate(cells):
                item = QTableWidgetItem(words)
                if x == VERDICT and words in ("missed", "wrong"):
                    item.setForeground(QColor(look.red))
                table.setItem(y, x, item)
        head = table.horizontalHeader()
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setStretchLastSection(True)
        head.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        table.setMinimumWidth(860)
        return table

    def showEvent(self, event: object) -> None:  # noqa: N802
        """As many rows as there are and as there is room for."""
        super().showEvent(event)
        table = self.table
        table.resizeRowsToContents()
        rows_px = sum(table.rowHeight(n) for n in range(table.rowCount()))
        wanted = rows_px + table.horizontalHeader().sizeHint().height() + 4
        table.setFixedHeight(min(wanted, max(120, self.height() - 470)))


def _line(pairs: tuple[tuple[str, str], ...]) -> str:
    return " · ".join(f"{name} {value}" for name, value in pairs)
