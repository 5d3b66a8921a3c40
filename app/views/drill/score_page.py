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

ROOM_PX = 40
"""For the frame of the table and its scroll bar."""
EDGE_PX = 48
"""Of the page, outside and inside of the panel."""
USUAL_PX = 14
"""The letters of a page at the usual size."""
VERDICT = 5
"""The column that says whether it was right."""
BAD = ("missed", "wrong")


class DrawingView(QWidget):
    """A drawing as large as the widget is wide."""

    def __init__(self, drawing: Drawing) -> None:
        super().__init__()
        self._drawing = drawing
        self.setAccessibleName(drawing.title)

    def put(self, drawing: Drawing) -> None:
        """The same in other colours."""
        self._drawing = drawing
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802
        """As the drawing is, and as much larger as the letters around it are."""
        factor = self.fontInfo().pixelSize() / USUAL_PX
        return QSize(round(self._drawing.width * factor), round(self._drawing.height * factor))

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
        self.picture = DrawingView(self._drawing(look))
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

    def _drawing(self, look: Look) -> Drawing:
        colours = (look.ink, look.dim, look.line, look.cover, look.red)
        return picture(self.done.drills, *colours)

    def set_look(self, look: Look) -> None:
        """Night or day."""
        self.picture.put(self._drawing(look))
        for y in range(self.table.rowCount()):
            item = self.table.item(y, VERDICT)
            if item is not None and item.text() in BAD:
                item.setForeground(QColor(look.red))

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
                if x == VERDICT and words in BAD:
                    item.setForeground(QColor(look.red))
                table.setItem(y, x, item)
        head = table.horizontalHeader()
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setStretchLastSection(True)
        head.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        return table

    def showEvent(self, event: object) -> None:  # noqa: N802
        """As many rows as there are and as there is room for; every column whole."""
        super().showEvent(event)
        self._fit()

    def resizeEvent(self, event: object) -> None:  # noqa: N802
        """The same at another size."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        self._fit()

    def _fit(self) -> None:
        table = self.table
        table.ensurePolished()
        table.resizeRowsToContents()
        head = table.horizontalHeader()
        wide = sum(
            max(table.sizeHintForColumn(n), head.sectionSizeHint(n)) for n in range(len(HEADS))
        )
        table.setMinimumWidth(max(min(wide + ROOM_PX, self.width() - 2 * EDGE_PX), 0))
        rows_px = sum(table.rowHeight(n) for n in range(table.rowCount()))
        wanted = rows_px + table.horizontalHeader().sizeHint().height() + 4
        table.setFixedHeight(min(wanted, max(120, self.height() - 470)))


def _line(pairs: tuple[tuple[str, str], ...]) -> str:
    return " · ".join(f"{name} {value}" for name, value in pairs)
