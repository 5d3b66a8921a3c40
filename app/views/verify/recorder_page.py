"""Did the recorder get it? Drop the card's folder; one large word, then what to do."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QColor, QDragEnterEvent, QDropEvent, QKeyEvent, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QFileDialog,
    QHeaderView,
    QProgressBar,
    QSizePolicy,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from app.models.report_subjects import Subject
from app.models.verify_sheet import VerifyLine, VerifySheet
from app.style import wording
from app.style.theme import Look
from app.views.verify.verify_timeline import VerifyTimeline
from app.views.widgets.basics import Button, plain, say, scrolling
from app.views.widgets.flow_layout import FlowLayout
from app.views.widgets.overlay import Overlay

TITLE: Final = "Did the recorder get it?"
DROP: Final = (
    "Drop the card's folder here, or takes of it. They are compared with what was heard in the "
    "session above; nothing is written to the card."
)
CAUTION: Final = "It compares levels: listen before you cut, and keep every card."
COLUMNS: Final = ("When", "Take", "What", "What to do")
TAKES: Final = "Takes (*.wav *.rf64 *.bw64 *.flac);;All files (*)"
MOST_FOR_LINES: Final = 0.4
SESSION_SIGNS: Final = 24
"""Of a session's name, day and title, are seen where there is little room."""
_FULL: Final = 1000


class RecorderPage(Overlay):
    """`wanted` carries a session's folder and paths of takes; `cancelled` and `print_asked` say
    what was pressed."""

    wanted = Signal(object, object)
    cancelled = Signal()
    print_asked = Signal()

    def __init__(self, parent: QWidget, look: Look) -> None:
        super().__init__(parent)
        self.setAccessibleName(TITLE)
        self.setAcceptDrops(True)
        self.look = look
        self.sheet: VerifySheet | None = None
        self.sessions = QComboBox()
        self.sessions.setAccessibleName("Session")
        self.sessions.setMinimumContentsLength(SESSION_SIGNS)
        self.sessions.setSizeAdjustPolicy(
            QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        self.sessions.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.folder, self.takes = (
            Button("Choose the card's folder", "F").as_primary(),
            Button("Choose takes", "T"),
        )
        self.cancel, self.paper = Button("Cancel"), Button("One sheet to print", "Ctrl+P")
        self.done = Button("Close", "Esc")
        self.word, self.words = plain("", "huge"), plain(DROP, "large", wrap=True)
        self.bar = QProgressBar()
        self.bar.setTextVisible(False)
        self.bar.setRange(0, _FULL)
        self.bar.setAccessibleName("Progress")
        self.lines = _table()
        self.timeline = VerifyTimeline(look)
        self.picture = scrolling(self.timeline)
        self.picture.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.picture.setAccessibleName(self.timeline.accessibleName())
        self._lay_out()
        self._connect()
        self._show(result=False, busy=False)

    def _lay_out(self) -> None:
        outer = self.layout()
        assert outer is not None
        outer.setAlignment(self.panel, Qt.AlignmentFlag(0))
        top = FlowLayout()
        top.setSpacing(self.column.spacing())
        top.addWidget(plain(TITLE, "title"))
        top.addWidget(self.sessions)
        for button in (self.folder, self.takes, self.cancel, self.paper, self.done):
            top.addWidget(button)
        self.column.addLayout(top)
        self.column.addWidget(self.word)
        self.column.addWidget(self.words)
        self.column.addWidget(self.bar)
        self.column.addWidget(self.lines)
        self.column.addWidget(self.picture, 1)
        self.column.addStretch(0)
        self.column.addWidget(plain(CAUTION, "small", wrap=True))

    def _connect(self) -> None:
        self.folder.clicked.connect(self.ask_folder)
        self.takes.clicked.connect(self.ask_takes)
        self.cancel.clicked.connect(self.cancelled)
        self.paper.clicked.connect(self.print_asked)
        self.done.clicked.connect(self.hide)

    # What it is of

    def offer(self, subjects: Sequence[Subject], chosen: Path | None) -> None:
        """The sessions that there are; that one is looked at first."""
        self.sessions.clear()
        for one in subjects:
            self.sessions.addItem(one.words, one.session)
            if one.session == chosen:
                self.sessions.setCurrentIndex(self.sessions.count() - 1)
        say(self.words, DROP if subjects else "No session was watched on this computer yet.")
        for button in (self.folder, self.takes):
            button.setEnabled(bool(subjects))

    @property
    def session(self) -> Path | None:
        """The session that is chosen."""
        folder: Path | None = self.sessions.currentData()
        return folder

    def ask_folder(self) -> None:
        """Pick the card's folder."""
        path = QFileDialog.getExistingDirectory(self, "The card's folder")
        self.take_in([path] if path else [])

    def ask_takes(self) -> None:
        """Pick takes."""
        paths, _ = QFileDialog.getOpenFileNames(self, "Takes of the recorder", "", TAKES)
        self.take_in(paths)

    def take_in(self, paths: Sequence[str]) -> None:
        """Compare these."""
        if paths and self.session is not None:
            self.wanted.emit(self.session, tuple(paths))

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:  # noqa: N802
        """Folders and files are welcome."""
        if any(url.isLocalFile() for url in event.mimeData().urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:  # noqa: N802
        """Compare what was dropped."""
        self.take_in([url.toLocalFile() for url in event.mimeData().urls() if url.isLocalFile()])

    # How it goes

    def show_progress(self, words: str, share: float, left_s: float | None) -> None:
        """What is being read, how far it is, how long it will still take."""
        self._show(result=False, busy=True)
        left = "" if left_s is None else f" · {wording.lasted(left_s)} left"
        say(self.words, f"Comparing {words}{left}")
        self.bar.setValue(round(_FULL * share))
        self.bar.setAccessibleDescription(f"{round(100 * share)} %")

    def show_stopping(self) -> None:
        """It ends at its next step."""
        self.cancel.setEnabled(False)
        say(self.words, "Cancelling…")

    def show_problem(self, words: str) -> None:
        """Nothing came of it."""
        self._show(result=False, busy=False)
        say(self.words, words)

    def show_note(self, words: str) -> None:
        """One line under what stands there."""
        say(self.words, f"{self.sheet.words if self.sheet else ''} {words}".strip())

    def show_sheet(self, sheet: VerifySheet) -> None:
        """What came of it."""
        self.sheet = sheet
        self._show(result=True, busy=False)
        say(self.word, sheet.word.upper(), "complete" if sheet.complete else "incomplete")
        say(self.words, sheet.words)
        self._fill(sheet.lines)
        self.lines.setVisible(bool(sheet.lines))
        self.timeline.put(sheet)
        self.lines.setFocus() if sheet.lines else self.done.setFocus()

    def set_look(self, look: Look) -> None:
        """Night or day."""
        self.look = look
        self.timeline.set_look(look)
        if self.sheet is not None:
            self._fill(self.sheet.lines)

    def _fill(self, lines: Sequence[VerifyLine]) -> None:
        self.lines.setRowCount(len(lines))
        for n, line in enumerate(lines):
            cells = (line.when, line.take, ("● " if line.wrong else "○ ") + line.text, line.to_do)
            for column, words in enumerate(cells):
                item = QTableWidgetItem(words)
                item.setToolTip("")
                tone = self.look.red if line.wrong and column == 2 else self.look.ink
                item.setForeground(QColor(tone if line.wrong else self.look.dim))
                self.lines.setItem(n, column, item)
        self._fit_lines()

    def _fit_lines(self) -> None:
        """All lines, as long as that leaves more than half of the page to the picture."""
        rows, header = self.lines.verticalHeader(), self.lines.horizontalHeader()
        rows.setDefaultSectionSize(self.lines.fontMetrics().lineSpacing() * 2 + 14)
        whole = header.sizeHint().height() + self.lines.rowCount() * rows.defaultSectionSize() + 6
        self.lines.setFixedHeight(min(whole, round(self.height() * MOST_FOR_LINES)))

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        """More room, more lines."""
        super().resizeEvent(event)
        self._fit_lines()

    def _show(self, *, result: bool, busy: bool) -> None:
        shown: tuple[QWidget, ...] = (self.word, self.lines, self.picture, self.paper)
        for widget in shown:
            widget.setVisible(result)
        self.bar.setVisible(busy)
        self.cancel.setVisible(busy)
        if not busy:
            self.cancel.setEnabled(True)
        self.sessions.setEnabled(not busy)
        for choice in (self.folder, self.takes):
            choice.setVisible(not busy)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """F, T and Ctrl+P as they stand on the buttons."""
        key = event.key()
        control = Qt.KeyboardModifier.ControlModifier in event.modifiers()
        letters = {int(Qt.Key.Key_F): self.folder, int(Qt.Key.Key_T): self.takes}
        found = self.paper if key == Qt.Key.Key_P and control else letters.get(key)
        if found is not None and found.isVisible():
            found.click()
        else:
            super().keyPressEvent(event)


def _table() -> QTableWidget:
    table = QTableWidget(0, len(COLUMNS))
    table.setTabKeyNavigation(False)
    table.setObjectName("overview")
    table.setHorizontalHeaderLabels(COLUMNS)
    table.setAccessibleName("What is missing or differs, and what to do")
    table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
    table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    table.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
    table.setShowGrid(False)
    table.verticalHeader().hide()
    header = table.horizontalHeader()
    header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
    for column in (2, 3):
        header.setSectionResizeMode(column, QHeaderView.ResizeMode.Stretch)
    header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
    return table
