"""The line check: one track at a time with a large prompt, what came of it, and the verdict."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QCheckBox,
    QHBoxLayout,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app.models.line_check_flow import left
from app.models.line_check_words import (
    MARKS,
    evidence,
)
from app.style import wording
from app.views.line_check_track import LineCheckTrack
from app.views.widgets.basics import Button, plain, say, scrolling
from app.views.widgets.overlay import Overlay
from engine.model.line_results import (
    LineCheck,
    Verdict,
)
from engine.model.tracks import Plan

NOT_HEARD: Final = "Nothing heard. Enter again: not heard, asked for at the end."
LIST_SHARE: Final = 0.6
"""Of the window's height, for the list at the end."""
PANEL_SHARE: Final = 0.7
"""Of the window's width."""
HEADPHONES: Final = "Turn your headphones down before anybody taps a mic."


class NoteEdit(QLineEdit):
    """A line to type in; Enter ends the typing and goes no further."""

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Keep Enter from the page, where it would decide."""
        super().keyPressEvent(event)
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            event.accept()


class LineCheckPage(Overlay):
    """`marked` carries a `Verdict` and the note, `gone` an input to ask for, `swap` two inputs."""

    marked = Signal(object, str)
    gone = Signal(int)
    swap = Signal(int, int)
    closed = Signal()
    print_asked = Signal()

    def __init__(self, parent: QWidget, plan: Plan) -> None:
        super().__init__(parent)
        self.plan = plan
        self.state: LineCheck | None = None
        self._notes: dict[int, str] = {}
        self._asked: int | None = None
        self._dead = ""
        self.setAccessibleName("Line check")
        self.list = QListWidget()
        self.list.setAccessibleName("Tracks")
        self.list.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.setTextElideMode(Qt.TextElideMode.ElideRight)
        self.list.itemClicked.connect(lambda item: self.gone.emit(item.data(_DATA)))
        self.track = LineCheckTrack()
        self.note = NoteEdit()
        self.note.setPlaceholderText("Note  (T to type, Enter when done)")
        self.note.setAccessibleName("Note on this track")
        self.note.setMaxLength(200)
        self.note.returnPressed.connect(self.setFocus)
        self.passed, self.failed = (
            Button("Passed", "Enter", main=True).as_primary(),
            Button("Failed", "F", True),
        )
        self.skipped, self.before = Button("Skip", "S", True), Button("Back", "←")
        self.after = Button("Next", "→")
        self.printed, self.done = Button("Print"), Button("Close", "Esc")
        self.by_itself = QCheckBox("Go on by itself after a clean pass (A)")
        self.by_voice = QCheckBox("Go to whoever speaks alone (G)")
        self.caution = plain(HEADPHONES, "small")
        for box in (self.by_itself, self.by_voice):
            box.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._keys: dict[str, Callable[[], None]] = {
            "Return": self._enter,
            "F": lambda: self._mark(Verdict.FAILED),
            "S": lambda: self._mark(Verdict.SKIPPED),
            "Left": lambda: self._step(-1),
            "Right": lambda: self._step(1),
            "W": self._swap,
            "T": self.note.setFocus,
            "A": self.by_itself.toggle,
            "G": self.by_voice.toggle,
        }
        self._lay_out()
        self._connect()

    def _lay_out(self) -> None:
        body = self._body = QHBoxLayout()
        body.setSpacing(28)
        body.addWidget(self.list, 2)
        side = QWidget()
        right = QVBoxLayout(side)
        right.setContentsMargins(0, 0, 0, 0)
        right.setSpacing(10)
        right.addWidget(self.track)
        right.addStretch(1)
        right.addWidget(self.caution)
        ways = QHBoxLayout()
        for box in (self.by_itself, self.by_voice):
            ways.addWidget(box)
        ways.addStretch(1)
        right.addLayout(ways)
        right.addWidget(self.note)
        body.addWidget(scrolling(side), 5)
        self.column.addWidget(plain("Line check", "title"))
        self.column.addLayout(body, 1)
        buttons = QHBoxLayout()
        for button in (self.passed, self.failed, self.skipped, self.before, self.after):
            buttons.addWidget(button)
        buttons.addStretch(1)
        for button in (self.printed, self.done):
            buttons.addWidget(button)
        self.column.addLayout(buttons)

    def _connect(self) -> None:
        self.passed.clicked.connect(self._keys["Return"])
        self.failed.clicked.connect(self._keys["F"])
        self.skipped.clicked.connect(self._keys["S"])
        self.before.clicked.connect(self._keys["Left"])
        self.after.clicked.connect(self._keys["Right"])
        self.track.swapped.clicked.connect(self._swap)
        self.printed.clicked.connect(self.print_asked)
        self.done.clicked.connect(self.hide)

    # ---- keys --------------------------------------------------------------------------------

    def resizeEvent(self, event: object) -> None:  # noqa: N802
        """Most of the window; at the end the list has the room that it can get."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        self.panel.setMinimumWidth(round(self.width() * PANEL_SHARE))
        self._fit_list()

    def _fit_list(self) -> None:
        at_end = self.state is not None and self.state.at is None
        self.list.setMinimumHeight(round(self.height() * LIST_SHARE) if at_end else 0)

    def open(self) -> None:
        """Show it; keys go to the page itself, so that Enter means passed."""
        super().open()
        self.setFocus()

    def press(self, sequence: str) -> None:
        """A key of the window that was pressed over this page."""
        act = self._keys.get(sequence)
        if act is not None:
            act()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """The page's own keys."""
        names = {
            Qt.Key.Key_Return: "Return",
            Qt.Key.Key_Enter: "Return",
            Qt.Key.Key_Left: "Left",
            Qt.Key.Key_Right: "Right",
        }
        sequence = names.get(Qt.Key(event.key()), event.text().upper())
        if sequence in self._keys:
            self.press(sequence)
        else:
            super().keyPressEvent(event)

    def hideEvent(self, event: object) -> None:  # noqa: N802
        """However it was closed, the check is over."""
        super().hideEvent(event)
        self.closed.emit()

    def _enter(self) -> None:
        """Passed; at the end, the first that is left."""
        state = self.state
        if state is not None and state.at is None:
            rest = left(state)
            if rest:
                self.gone.emit(rest[0])
            return
        self._mark(Verdict.PASSED)

    def pass_by_itself(self) -> None:
        """The track asked for is clean: go on without a key."""
        self._mark(Verdict.PASSED)

    def _mark(self, verdict: Verdict) -> None:
        if self.state is not None and self.state.at is not None:
            if verdict is Verdict.PASSED and not self._may_pass():
                return
            if verdict is Verdict.PASSED and not self.state.heard.came:
                self.marked.emit(Verdict.SKIPPED, f"not heard {self.note.text()}".strip())
            else:
                self.marked.emit(verdict, self.note.text())
            self.note.clear()
            self._notes.pop(self.state.at, None)

    def _may_pass(self) -> bool:
        """Where nothing was heard, passed has to be pressed twice, and says so."""
        state = self.state
        assert state is not None
        if state.heard.came or self._asked == state.at:
            return True
        self._asked = state.at
        say(self.track.came, NOT_HEARD, "largewarn")
        return False

    def set_dead(self, words: str) -> None:
        """What is wrong with the track asked for, if it stands as an alarm; empty: nothing."""
        self._dead = words

    def _step(self, by: int) -> None:
        if self.state is None or not self.state.order:
            return
        order, at = self.state.order, self.state.at
        place = len(order) if at is None else order.index(at)
        self.gone.emit(order[min(max(place + by, 0), len(order) - 1)])

    def _swap(self) -> None:
        state = self.state
        if state is not None and state.at is not None and state.heard.elsewhere is not None:
            self.swap.emit(state.at, state.heard.elsewhere)

    # ---- what it shows -----------------------------------------------------------------------

    def show_state(self, state: LineCheck, plan: Plan) -> None:
        """Bring it up to date."""
        if state == self.state and plan is self.plan:
            return
        self._keep_note(state)
        self.state, self.plan = state, plan
        self._show_list(state)
        track = next((t for t in plan.tracks if t.input == state.at), None)
        if track is None:
            self.track.show_end(state)
        else:
            asked = NOT_HEARD if self._asked == state.at else ""
            self.track.show_track(state, plan, track, self._dead or asked)
        verdicts = (self.passed, self.failed, self.skipped)
        flow = (self.caution, self.by_itself, self.by_voice, self.note)
        for part in (*flow, *verdicts):
            part.setVisible(track is not None)
        # At the end the list is what one reads: the levels of all tracks.
        self._body.setStretch(0, 2 if track is not None else 5)
        self.list.setWordWrap(track is None)
        self._fit_list()

    def _keep_note(self, state: LineCheck) -> None:
        """A note belongs to the track on which it was typed."""
        before = None if self.state is None else self.state.at
        if before == state.at:
            return
        if before is not None and self.note.text():
            self._notes[before] = self.note.text()
        self.note.setText(self._notes.get(state.at or 0, ""))

    def _show_list(self, state: LineCheck) -> None:
        names = {t.input: wording.isolate(t.label) for t in self.plan.tracks}
        if self.list.count() != len(state.order):
            self.list.clear()
            for _ in state.order:
                self.list.addItem(QListWidgetItem())
        for row, number in enumerate(state.order):
            result = state.result(number)
            mark = MARKS[None if result is None else result.verdict]
            words = f"{mark}  {number}  {names.get(number, '')}"
            if result is not None:
                words += f"\n       {result.verdict.value}  ·  {evidence(result)}"
            item = self.list.item(row)
            if item.text() != words:
                item.setText(words)
                item.setData(_DATA, number)
            if number == state.at and self.list.currentRow() != row:
                self.list.setCurrentRow(row)


_DATA: Final = Qt.ItemDataRole.UserRole
