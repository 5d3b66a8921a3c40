"""Tonight's incidents: a table with filters, read from the session's log."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QPersistentModelIndex, Qt, Signal
from PySide6.QtGui import QColor
from PySide6.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QHBoxLayout,
    QHeaderView,
    QTableView,
    QWidget,
)

from app.models import history_rows
from app.models.history_rows import COLUMNS, Row
from app.style import wording
from app.style.theme import Look
from app.views.widgets.basics import Button, plain, say
from app.views.widgets.overlay import Overlay
from engine.model.messages import Incident
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan
from engine.report.content.logged_timecode import LoggedTimecode, labels_of
from engine.session.plan_history import PlanHistory
from engine.session.reader import SessionReader
from engine.session.schema import NotALogError

Index = QModelIndex | QPersistentModelIndex
ALL_TRACKS, ALL_FAULTS = "All tracks", "All faults"


class Table(QAbstractTableModel):
    """Rows of the history as Qt wants them."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.look = look
        self.rows: tuple[Row, ...] = ()

    def put(self, rows: Sequence[Row]) -> None:
        """Show these."""
        self.beginResetModel()
        self.rows = tuple(rows)
        self.endResetModel()

    def rowCount(self, _parent: Index = QModelIndex()) -> int:  # noqa: N802, B008
        """Incidents and marks."""
        return len(self.rows)

    def columnCount(self, _parent: Index = QModelIndex()) -> int:  # noqa: N802, B008
        """Always the same."""
        return len(COLUMNS)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> object:
        """Words, and the colour of the severity."""
        row = self.rows[index.row()]
        if role in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.AccessibleTextRole):
            return row.cells[index.column()]
        if role == Qt.ItemDataRole.ForegroundRole and index.column() == 3 and row.severity:
            return QColor(self.look.colour(row.severity))
        return None

    def headerData(  # noqa: N802
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> object:
        """What stands above the columns."""
        if role == Qt.ItemDataRole.DisplayRole and orientation is Qt.Orientation.Horizontal:
            return COLUMNS[section]
        return None


class HistoryPage(Overlay):
    """`read` carries incidents and the labels of their times, or one line on why there are none;
    both from another thread."""

    read = Signal(object)

    def __init__(
        self,
        parent: QWidget,
        look: Look,
        plan: Plan,
        snapshot: Snapshot,
        folder: Path | None,
    ) -> None:
        super().__init__(parent)
        self.setAccessibleName("History of this watch")
        self._plan, self._snapshot = plan, snapshot
        self._all: tuple[Row, ...] = ()
        self._folder, self._reading, self._again = folder, False, False
        self.table = Table(look)
        self.tracks, self.faults = QComboBox(), QComboBox()
        self.words = plain("Reading the log…", "dim")
        self.view = self._view()
        self._build()
        self.read.connect(self._take)
        for box in (self.tracks, self.faults):
            box.currentIndexChanged.connect(self._filter)
        if folder is None:
            self._take("This watch has no log.")
        else:
            self._begin_reading(folder)

    def set_look(self, look: Look) -> None:
        """Night or day."""
        self.table.look = look

    def _view(self) -> QTableView:
        view = QTableView()
        view.setModel(self.table)
        view.setAccessibleName("Incidents and marks")
        view.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        view.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        view.setWordWrap(False)
        view.setTabKeyNavigation(False)
        view.setShowGrid(False)
        view.verticalHeader().hide()
        header = view.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setStretchLastSection(True)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        return view

    def _build(self) -> None:
        self.column.addWidget(plain("History of this watch", "title"))
        self.tracks.setAccessibleName("Track")
        self.faults.setAccessibleName("Fault")
        self.tracks.addItem(ALL_TRACKS, None)
        for track in self._plan.tracks:
            self.tracks.addItem(f"{track.input} {wording.isolate(track.label)}", track.input)
        self.faults.addItem(ALL_FAULTS, "")
        row = QHBoxLayout()
        for part in (self.tracks, self.faults):
            row.addWidget(part)
        row.addWidget(self.words, 1)
        row.addWidget(close := Button("Close", "Esc"))
        close.clicked.connect(self.hide)
        self.column.addLayout(row)
        self.column.addWidget(self.view, 1)

    def resizeEvent(self, _event: object) -> None:  # noqa: N802
        """Most of the window is the table's."""
        size = self.size()
        self.panel.setFixedSize(round(size.width() * 0.92), round(size.height() * 0.9))

    def open(self) -> None:
        """Show it, ready to go through the rows."""
        super().open()
        self.view.setFocus()

    def follow(self, snapshot: Snapshot) -> None:
        """Something happened: read the log again, unless that is being done."""
        self._snapshot = snapshot
        if self._folder is None or self._reading:
            self._again = True
            return
        self._begin_reading(self._folder)

    def _begin_reading(self, folder: Path) -> None:
        self._reading, self._again = True, False
        # A disk may take its time; the window must not.
        threading.Thread(target=self._read, args=(folder,), name="history", daemon=True).start()

    def _read(self, folder: Path) -> None:
        try:
            with SessionReader(folder) as log:
                result: object = (log.plans(), log.incidents(), labels_of(folder))
        except (NotALogError, OSError) as error:
            result = f"The log can't be read: {' '.join(str(error).split())}"
        try:
            self.read.emit(result)
        except RuntimeError:
            return  # closed meanwhile

    def _take(self, result: str | tuple[PlanHistory, tuple[Incident, ...], LoggedTimecode]) -> None:
        self._reading = False
        desk = self._snapshot.desk
        if isinstance(result, str):
            now = PlanHistory(((0.0, self._plan),))
            self._all = history_rows.rows(now, desk, ())
        else:
            plans, incidents, labels = result
            self._all = history_rows.rows(plans, desk, incidents, labels)
        listed = {self.faults.itemData(n) for n in range(self.faults.count())}
        for fault in sorted({row.fault for row in self._all} - listed):
            self.faults.addItem(fault, fault)
        self._filter()
        if self._again and self._folder is not None:
            self._begin_reading(self._folder)
        if isinstance(result, str):
            say(self.words, result)

    def _filter(self) -> None:
        result = history_rows.matching(
            self._all, self.tracks.currentData(), self.faults.currentData()
        )
        self.table.put(result)
        say(self.words, f"{len(result)} of {len(self._all)}, newest first")
