"""The plan as a table to edit, checked as it is typed."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, Qt, Signal
from PySide6.QtGui import QColor, QKeySequence, QPainter, QPen, QShortcut
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QHeaderView,
    QLineEdit,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QWidget,
)

from app.models.plan_table import COLUMNS, HELP, MISTAKE_ROLE, PlanTable
from app.style.theme import Look
from app.views.plan.plan_grid import WORDS, PlanGrid
from app.views.widgets.basics import Button, plain, say
from app.views.widgets.overlay import Overlay

TAKE: Final = (
    ("title", "Title", 3),
    ("frame_rate", "Rate", 1),
    ("date", "Date", 2),
    ("production", "Production", 2),
    ("location", "Location", 2),
    ("mixer", "Mixer", 2),
)
"""What the plan says of the take: key, label, share of the width."""
SHARES: Final = (1, 17, 1, 12, 1, 1, 14, 1, 1, 6)
"""How the columns share the width that their heads leave over."""
PADDING: Final = 1.6
LONGEST: Final = 200
HINT: Final = (
    "Type into a cell at once; Tab, Enter and arrows move, F2 changes what stands there. "
    "Del empties cells, Ctrl+D fills down (inputs count on), Alt and arrows move a row, Ctrl+C and "
    "Ctrl+V copy and paste rows from and to a spreadsheet."
)
"""Of a cell, in letters."""


class Cells(QStyledItemDelegate):
    """Frames cells with a mistake; offers the words where only some are allowed."""

    def __init__(self, look: Look, parent: QWidget) -> None:
        super().__init__(parent)
        self._red = QColor(look.red)

    def createEditor(  # noqa: N802
        self,
        parent: QWidget,
        option: QStyleOptionViewItem,
        index: QModelIndex | QPersistentModelIndex,
    ) -> QWidget:
        """A list for kind and level, a line for all else."""
        words = WORDS.get(COLUMNS[index.column()])
        if words is None:
            return super().createEditor(parent, option, index)
        box = QComboBox(parent)
        box.setEditable(True)
        box.addItems([str(word) for word in words])
        return box

    def updateEditorGeometry(  # noqa: N802
        self,
        editor: QWidget,
        option: QStyleOptionViewItem,
        index: QModelIndex | QPersistentModelIndex,
    ) -> None:
        """The whole cell: inside its padding a line would be cut."""
        editor.setGeometry(option.rect)

    def set_look(self, look: Look) -> None:
        """Night or day."""
        self._red = QColor(look.red)

    def paint(
        self,
        painter: QPainter,
        option: QStyleOptionViewItem,
        index: QModelIndex | QPersistentModelIndex,
    ) -> None:
        """The cell, and a red frame where it is wrong."""
        super().paint(painter, option, index)
        if index.data(MISTAKE_ROLE):
            painter.save()
            painter.setPen(QPen(self._red, 2))
            painter.drawRect(option.rect.adjusted(1, 1, -2, -2))
            painter.restore()


class PlanPage(Overlay):
    """`used`, `saved` and `print_asked` say what was pressed; the model holds the plan."""

    used = Signal()
    saved = Signal()
    print_asked = Signal()

    def __init__(
        self,
        parent: QWidget,
        model: PlanTable,
        look: Look,
        title: str = "Plan",
        use: str = "Use it now",
    ) -> None:
        super().__init__(parent)
        self.model = model
        self._title = title
        self.setAccessibleName("Plan")
        self.table = PlanGrid(model)
        self._cells = Cells(look, self.table)
        self.table.setItemDelegate(self._cells)
        self.table.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        self.table.horizontalHeader().setStretchLastSection(True)
        along = Qt.AlignmentFlag.AlignLeading | Qt.AlignmentFlag.AlignVCenter
        self.table.horizontalHeader().setDefaultAlignment(along)
        self.state, self.help = plain("", "dim", wrap=True), plain("", "small", wrap=True)
        self.use = Button(use, "Ctrl+Enter", main=True).as_primary()
        self.save = Button("Save as…", "Ctrl+S", main=True)
        self.undo, self.redo = Button("Undo", "Ctrl+Z"), Button("Redo", "Ctrl+Y")
        self.add, self.remove = Button("Add a track", "Ins"), Button("Remove rows", "Ctrl+Del")
        self.swap = Button("Swap two inputs", "Ctrl+Shift+X")
        self.paste = Button("Paste rows", "Ctrl+V")
        self.printed, self.done = Button("Print", "Ctrl+P"), Button("Close", "Esc")
        self._lay_out()
        self._connect()
        self._show_state()

    def _lay_out(self) -> None:
        outer = self.layout()
        assert outer is not None
        outer.setAlignment(self.panel, Qt.AlignmentFlag(0))
        self.column.addWidget(plain(self._title, "title"))
        self.column.addLayout(self._take_fields())
        self.column.addWidget(self.table, 1)
        self.column.addWidget(self.state)
        self.column.addWidget(self.help)
        for left, right in (
            ((self.undo, self.redo, self.add, self.remove, self.swap, self.paste), ()),
            ((self.use, self.save), (self.printed, self.done)),
        ):
            row = QHBoxLayout()
            for button in left:
                row.addWidget(button)
            row.addStretch(1)
            for button in right:
                row.addWidget(button)
            self.column.addLayout(row)

    def _take_fields(self) -> QHBoxLayout:
        """Title and the rest above the table, each a line to type in."""
        row = QHBoxLayout()
        row.setSpacing(6)
        self.fields: dict[str, QLineEdit] = {}
        for key, label, share in TAKE:
            edit = QLineEdit(self.model.take(key))
            edit.setAccessibleName(label)
            edit.setMaxLength(LONGEST)
            edit.setMinimumWidth(60)
            edit.setCursorPosition(0)
            edit.editingFinished.connect(
                lambda k=key, e=edit: self.model.set_take(k, e.text().strip())
            )
            row.addWidget(plain(label, "small"))
            row.addWidget(edit, share)
            self.fields[key] = edit
        return row

    def _say_of_take(self, key: str) -> None:
        self.model.set_take(key, self.fields[key].text().strip())

    def _show_take(self) -> None:
        for key, edit in self.fields.items():
            if not edit.hasFocus() and edit.text() != self.model.take(key):
                edit.setText(self.model.take(key))
                edit.setCursorPosition(0)

    def _connect(self) -> None:
        stack = self.model.undo_stack
        for button, keys, act in (
            (self.use, ("Ctrl+Return", "Ctrl+Enter"), self.used.emit),
            (self.save, ("Ctrl+S",), self.saved.emit),
            (self.undo, ("Ctrl+Z",), stack.undo),
            (self.redo, ("Ctrl+Y", "Ctrl+Shift+Z"), stack.redo),
            (self.add, ("Ins",), self._add),
            (self.remove, ("Ctrl+Del",), self.table.remove_rows),
            (self.swap, ("Ctrl+Shift+X",), self._swap),
            (self.paste, (), self.table.paste),
            (self.printed, ("Ctrl+P",), self.print_asked.emit),
        ):
            button.clicked.connect(act)
            for key in keys:
                shortcut = QShortcut(QKeySequence(key), self)
                shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
                shortcut.activated.connect(button.click)
        self.done.clicked.connect(self.hide)
        self.model.checked.connect(self._show_state)
        stack.indexChanged.connect(self._show_state)
        self.model.modelAboutToBeReset.connect(self._remember)
        self.model.modelReset.connect(self._go_back)
        self.table.selectionModel().currentChanged.connect(lambda *_: self._show_help())

    def set_look(self, look: Look) -> None:
        """Night or day."""
        self._cells.set_look(look)

    def say(self, words: str, *, bad: bool = False) -> None:
        """What became of the file, until something is changed."""
        say(self.state, words, "red" if bad else "dim")

    def open(self) -> None:
        """Show it with the first cell chosen."""
        super().open()
        self.table.setFocus()
        self.table.choose(0, 1)

    def _add(self) -> None:
        self.table.add_row()
        self.table.setFocus()

    def _swap(self) -> None:
        if not self.table.swap_inputs():
            self.say("Choose cells in two rows first (Ctrl and a click), then swap their inputs.")

    def _remember(self) -> None:
        focused = self.focusWidget()
        self._in_table = bool(focused) and (
            focused is self.table or self.table.isAncestorOf(focused)
        )

    def _go_back(self) -> None:
        """The table was made anew: keep the keys that the editor of a cell had."""
        if self._in_table:
            self.table.setFocus()

    def resizeEvent(self, event: object) -> None:  # noqa: N802
        """Share the width among the columns; rows as high as their letters need."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        self.table.ensurePolished()
        high = round(1.7 * self.table.fontMetrics().height())
        self.table.verticalHeader().setDefaultSectionSize(high)
        margins = self.column.contentsMargins()
        wide = self.width() - 60 - margins.left() - margins.right()
        header, letters = self.table.horizontalHeader(), self.table.fontMetrics()
        header.ensurePolished()
        least = [header.sectionSizeHint(column) for column in range(len(SHARES))]
        for column, key in enumerate(COLUMNS):
            longest = max((str(word) for word in WORDS.get(key, ("",))), key=len)
            words = letters.horizontalAdvance(longest) + PADDING * letters.height()
            least[column] = max(least[column], round(words))
        rest = max(wide - sum(least), 0)
        for column, share in enumerate(SHARES):
            self.table.setColumnWidth(column, least[column] + rest * share // sum(SHARES))

    def _show_state(self, _at: int = 0) -> None:
        self._show_take()
        mistakes = self.model.mistakes
        if mistakes:
            more = f"   and {len(mistakes) - 1} more" if len(mistakes) > 1 else ""
            say(self.state, f"{self.model.told(mistakes[0])}{more}", "red")
        else:
            say(self.state, "No mistakes.", "dim")
        for button in (self.use, self.save):
            button.setEnabled(not mistakes)
        self.undo.setEnabled(self.model.undo_stack.canUndo())
        self.redo.setEnabled(self.model.undo_stack.canRedo())
        self._show_help()

    def _show_help(self) -> None:
        index = self.table.currentIndex()
        key = COLUMNS[index.column()] if index.isValid() else ""
        wrong = str(index.data(MISTAKE_ROLE) or "") if index.isValid() else ""
        words = HELP.get(key, "") or HINT
        first = self.state.text() if self.model.mistakes else ""
        elsewhere = wrong and wrong not in first  # the first stands above
        say(self.help, wrong if elsewhere else words, "red" if elsewhere else "small")
