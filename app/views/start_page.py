"""The first page: what to watch; by keyboard, by mouse and by dropping files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QFileDialog,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QListWidget,
    QListWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app.models.live_input import Input
from app.style.theme import Look
from app.views.input_list import InputList
from app.views.start_parts import card_of, is_plan, plan_line
from app.views.widgets.basics import Button, plain, say
from engine.model import cautions
from engine.model.commands import Open

TAKES = "Takes (*.wav *.rf64 *.bw64 *.flac);;All files (*)"
PLANS = "Plans (*.toml)"
_DATA = Qt.ItemDataRole.UserRole

PURPOSE = "says within seconds which mic died, whose it is and what to check first"
DEMO_WORDS = (
    "A hundred seconds of a made-up night: a bell is raised into a tower, and things fail. "
    "Nothing to plug in, nothing to hear: watch what it says."
)


class StartPage(QWidget):
    """`chosen` carries an `Open`, `input_chosen` the name of the live input that was picked."""

    chosen = Signal(object)
    line_check_asked = Signal()
    drill_asked = Signal()
    report_asked = Signal()
    session_asked = Signal()
    verify_asked = Signal()
    overview_asked = Signal()
    plan_wanted = Signal()
    inputs_wanted = Signal()
    plan_to_edit = Signal(str)
    input_chosen = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("page")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.plan: str | None = None
        self.inputs, self.recent = InputList(), QListWidget()
        self.recent.setAccessibleName("Recent takes and plans")
        self.watch = Button("Watch now", "Enter", main=True)
        self.check = Button("Check the lines", "K", main=True).as_primary()
        self.again = Button("Look again", "L")
        self.take = Button("Open a take", "T")
        self.folder = Button("Open a folder of mono files", "F")
        self.demo = Button("See it work", "D", main=True)
        self.drill = Button("Drill", "R", main=True)
        self.report = Button("Report", "W")
        self.session = Button("What happened", "H")
        self.verify = Button("Did the recorder get it?", "Ctrl+R")
        self.overview = Button("All carts", "Ctrl+O")
        self.choose_plan = Button("Choose a plan", "P")
        self.make_plan = Button("Make a plan", "M")
        self.edit_plan = Button("Edit it", "E")
        self.drop_plan = Button("No plan", "X")
        self.plan_words = plain(wrap=True)
        self.error = plain("", "red", wrap=True)
        self._build()
        self._connect()
        self.set_plan(None)
        self.set_inputs(None)
        self.set_recent(())

    def _build(self) -> None:
        self._outer = QVBoxLayout(self)
        head = QHBoxLayout()
        head.addWidget(plain("trackwarden", "clock"))
        head.addWidget(plain(PURPOSE, "dim"), 1)
        self._outer.addLayout(head)
        cards = QGridLayout()
        cards.setSpacing(20)
        cards.addWidget(self._tonight(), 0, 0, 2, 1)
        cards.addWidget(self._newcomer(), 0, 1)
        cards.addWidget(self._earlier(), 1, 1)
        cards.setColumnStretch(0, 3)
        cards.setColumnStretch(1, 2)
        cards.setRowStretch(1, 1)
        self._outer.addLayout(cards, 1)
        self._outer.addWidget(self.error)
        hint = "Or drop a take or a plan onto this window.   ? all keys · N night or day"
        self._outer.addWidget(plain(hint, "small"))
        self._outer.addWidget(plain(" ".join(cautions.FIRST), "small", wrap=True))

    def _tonight(self) -> QFrame:
        """What most nights begin with: an input, its plan, its lines."""
        card, column = card_of("Watch tonight")
        column.addWidget(plain("1  Choose the input that has a copy of the recorder's tracks."))
        column.addWidget(self.inputs, 1)
        column.addLayout(self._line(self.again))
        column.addWidget(plain("2  Say what each input carries: the plan. It is remembered."))
        column.addWidget(self.plan_words)
        plans = (self.choose_plan, self.make_plan, self.edit_plan, self.drop_plan)
        column.addLayout(self._line(*plans))
        column.addWidget(plain("3  Hear each line once, or watch at once."))
        column.addLayout(self._line(self.check, self.watch))
        return card

    def _newcomer(self) -> QFrame:
        """For who sees it for the first time."""
        card, column = card_of("New here?")
        column.addWidget(plain(DEMO_WORDS, "dim", wrap=True))
        column.addLayout(self._line(self.demo, self.drill))
        return card

    def _earlier(self) -> QFrame:
        """What was recorded or watched before."""
        card, column = card_of("Earlier takes and nights")
        column.addWidget(self.recent, 1)
        column.addLayout(self._line(self.take, self.folder))
        column.addLayout(self._line(self.session, self.report))
        column.addLayout(self._line(self.verify, self.overview))
        return card

    @staticmethod
    def _line(*parts: QWidget) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(10)
        for part in parts:
            row.addWidget(part)
        row.addStretch(1)
        return row

    def _connect(self) -> None:
        for box in (self.inputs, self.recent):
            box.itemDoubleClicked.connect(self._take_item)
            for key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
                enter = QShortcut(QKeySequence(key), box)
                enter.setContext(Qt.ShortcutContext.WidgetShortcut)
                enter.activated.connect(lambda b=box: self._take_item(b.currentItem()))
        self.watch.clicked.connect(lambda: self._take_item(self.inputs.currentItem()))
        self.check.clicked.connect(self._check_lines)
        self.again.clicked.connect(self.inputs_wanted)
        self.take.clicked.connect(self.ask_take)
        self.folder.clicked.connect(self.ask_folder)
        self.demo.clicked.connect(lambda: self.chosen.emit(Open(demo=True, plan=self.plan)))
        self.drill.clicked.connect(self.drill_asked)
        self.report.clicked.connect(self.report_asked)
        self.session.clicked.connect(self.session_asked)
        self.verify.clicked.connect(self.verify_asked)
        self.overview.clicked.connect(self.overview_asked)
        self.choose_plan.clicked.connect(self.ask_plan)
        self.make_plan.clicked.connect(self.plan_wanted)
        self.edit_plan.clicked.connect(lambda: self.plan_to_edit.emit(self.plan))
        self.drop_plan.clicked.connect(lambda: self.set_plan(None))
        self.inputs.currentItemChanged.connect(self._may_watch)
        for letter, button in (
            ("T", self.take),
            ("F", self.folder),
            ("D", self.demo),
            ("P", self.choose_plan),
            ("M", self.make_plan),
            ("E", self.edit_plan),
            ("X", self.drop_plan),
            ("K", self.check),
            ("L", self.again),
            ("R", self.drill),
            ("H", self.session),
        ):
            shortcut = QShortcut(QKeySequence(letter), self)
            shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            shortcut.activated.connect(button.click)

    def set_look(self, look: Look, scale: float) -> None:
        """Colours of the lights; edges and spacing at that size."""
        self.inputs.set_look(look)
        self._outer.setContentsMargins(*(round(34 * scale),) * 4)
        self._outer.setSpacing(round(12 * scale))

    def set_inputs(self, inputs: Sequence[Input] | str | None) -> None:
        """List the live inputs; None while they are being looked for, words where that failed."""
        self.inputs.set_inputs(inputs)
        if inputs and not isinstance(inputs, str):
            self.inputs.setFocus()
        self._may_watch()

    @property
    def input(self) -> Input | None:
        """The live input that is chosen."""
        return self.inputs.input

    def _may_watch(self) -> None:
        request = self.inputs.request
        for button in (self.watch, self.check):
            button.setEnabled(request is not None)
        if request is not None:
            self.input_chosen.emit(str(request.device))

    def _check_lines(self) -> None:
        self.line_check_asked.emit()
        self._take_item(self.inputs.currentItem())

    def set_recent(self, paths: Sequence[str]) -> None:
        """List recent takes and plans; file dialogs open where the last one lies."""
        self._last = str(Path(paths[0]).parent) if paths else ""
        self.recent.clear()
        for path in paths:
            kind = "plan" if is_plan(path) else "take"
            item = QListWidgetItem(f"{Path(path).name}   ·   {kind}   ·   {Path(path).parent}")
            item.setData(_DATA, path)
            self.recent.addItem(item)
        if not paths:
            item = QListWidgetItem("Nothing yet.")
            item.setFlags(Qt.ItemFlag.NoItemFlags)
            self.recent.addItem(item)

    def set_plan(self, path: str | None) -> None:
        """Use this plan for what is opened next."""
        self.plan = path
        none = "No plan: every track is watched as a lav, with the names in the take or input."
        say(self.plan_words, f"Plan: {plan_line(path)}" if path else none, "" if path else "dim")
        self.make_plan.setVisible(path is None)
        for button in (self.edit_plan, self.drop_plan):
            button.setVisible(path is not None)

    def show_error(self, words: str) -> None:
        """Say why a watch could not be opened."""
        say(self.error, words, "red")

    def show_progress(self, words: str) -> None:
        """Say that a watch is being opened, and what it waits for."""
        say(self.error, words or "Opening…", "dim")

    def _take_item(self, item: QListWidgetItem | None) -> None:
        data = item.data(_DATA) if item is not None else None
        if isinstance(data, Open):
            self.chosen.emit(Open(device=data.device, plan=self.plan))
        elif isinstance(data, str):
            self.open_paths([data])

    def open_paths(self, paths: Sequence[str]) -> None:
        """Take over files: plans are kept for the next watch, the first take is opened."""
        plans = [p for p in paths if is_plan(p)]
        takes = [p for p in paths if not is_plan(p)]
        if plans:
            self.set_plan(plans[-1])
        if takes:
            self.chosen.emit(Open(take=takes[0], plan=self.plan))

    def ask_take(self) -> None:
        """Pick a take from disk."""
        path, _ = QFileDialog.getOpenFileName(self, "Open a take", self._last, TAKES)
        if path:
            self.open_paths([path])

    def ask_folder(self) -> None:
        """Pick a folder of mono files from disk."""
        path = QFileDialog.getExistingDirectory(self, "Open a folder of mono files", self._last)
        if path:
            self.open_paths([path])

    def ask_plan(self) -> None:
        """Pick a plan from disk."""
        path, _ = QFileDialog.getOpenFileName(self, "Choose a plan", self._last, PLANS)
        if path:
            self.open_paths([path])
