"""A table of the overview: carts, or all that is wrong on them."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QPixmap
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableView

from app.fleet.overview_rows import OverviewRow
from app.style import state_shapes
from app.style.state_marks import Mark
from app.style.theme import Look
from engine.model.messages import Severity

BOLD_COLUMNS = 3
"""Who, where and what: in the colour of the severity."""
Index = QModelIndex | QPersistentModelIndex


class OverviewTable(QAbstractTableModel):
    """Rows as Qt wants them: colour, shape and word for each."""

    def __init__(self, look: Look, columns: Sequence[str]) -> None:
        super().__init__()
        self._look, self._columns = look, tuple(columns)
        self.rows: tuple[OverviewRow, ...] = ()

    def put(self, rows: Sequence[OverviewRow]) -> None:
        """Show these; where only times went on, nobody loses what was chosen."""
        same = [row.key for row in rows] == [row.key for row in self.rows]
        if same and tuple(rows) == self.rows:
            return
        if not same:
            self.beginResetModel()
        self.rows = tuple(rows)
        if not same:
            self.endResetModel()
        elif rows:
            last = self.index(len(rows) - 1, len(self._columns) - 1)
            self.dataChanged.emit(self.index(0, 0), last)

    def set_look(self, look: Look) -> None:
        """Night or day."""
        self.beginResetModel()
        self._look = look
        self.endResetModel()

    def rowCount(self, _parent: Index = QModelIndex()) -> int:  # noqa: N802, B008
        """Carts, or alarms."""
        return len(self.rows)

    def columnCount(self, _parent: Index = QModelIndex()) -> int:  # noqa: N802, B008
        """Always the same."""
        return len(self._columns)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        """Words; shape and colour of the severity; a solid field where nobody has seen it."""
        row, look = self.rows[index.row()], self._look
        match role:
            case Qt.ItemDataRole.DisplayRole:
                return row.cells[index.column()]
            case Qt.ItemDataRole.AccessibleTextRole:
                word = "" if row.severity is None else f"{row.severity.word}: "
                return (word if index.column() == 0 else "") + row.cells[index.column()]
            case Qt.ItemDataRole.BackgroundRole if row.severity is not None:
                return QColor(look.alarm if row.loud else look.ground(row.severity))
            case Qt.ItemDataRole.ForegroundRole:
                return QColor(self._ink(row, index.column()))
            case Qt.ItemDataRole.DecorationRole if index.column() == 0 and row.severity:
                return self._shape(row)
            case Qt.ItemDataRole.FontRole if (
                row.severity is not None and index.column() < BOLD_COLUMNS
            ):
                font = QFont()
                font.setBold(True)
                return font
        return None

    def _ink(self, row: OverviewRow, column: int) -> str:
        if row.loud:
            return self._look.on_alarm
        return (
            self._look.colour(row.severity)
            if row.severity and column < BOLD_COLUMNS
            else self._look.ink
        )

    def _shape(self, row: OverviewRow) -> QPixmap:
        mark = Mark.RED if row.severity is Severity.RED else Mark.AMBER
        pixmap = QPixmap(18, 18)
        pixmap.fill(Qt.GlobalColor.transparent)
        painter = QPainter(pixmap)
        state_shapes.draw(painter, mark, QRectF(1, 1, 16, 16), self._ink(row, 0))
        painter.end()
        return pixmap

    def headerData(  # noqa: N802
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> object:
        """What stands above the columns."""
        if role == Qt.ItemDataRole.DisplayRole and orientation is Qt.Orientation.Horizontal:
            return self._columns[section]
        return None


def table_view(table: OverviewTable, name: str, lines: int) -> QTableView:
    """The view of such a table, with so many lines of text in a row."""
    view = QTableView()
    view.setTabKeyNavigation(False)
    view.setModel(table)
    view.setObjectName("overview")
    view.setAccessibleName(name)
    view.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    view.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
    view.setWordWrap(lines > 1)
    view.setShowGrid(True)
    view.verticalHeader().hide()
    view.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
    header = view.horizontalHeader()
    header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
    header.setResizeContentsPrecision(40)
    header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
    return view
