"""A page laid over the window: help, questions, chime settings. One way in, Esc is the way out."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar, Final

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QFrame, QGridLayout, QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from app.models.key_bindings import KEYS
from app.style.theme import Look
from app.views.widgets.basics import Button, plain, scrolling
from app.views.widgets.tab_order import go_on
from engine.model import cautions

EDGE_PX: Final = 40
"""Beside a panel that scrolls: its bar and the layouts' margins."""


class Overlay(QWidget):
    """Covers its parent, dims it, and shows one panel in its middle; `shown` says when."""

    SCROLLS: ClassVar = False
    """Rather scroll than squeeze the panel: for pages that hold no list of their own."""

    PAINTED_STOPS: ClassVar[tuple[type[QWidget], ...]] = ()
    """Painted parts where Tab stops too."""

    shown = Signal(bool)

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.panel = QFrame()
        self.panel.setObjectName("panel")
        outer = QVBoxLayout(self)
        if self.SCROLLS:
            middle = QWidget()
            QVBoxLayout(middle).addWidget(self.panel, 0, Qt.AlignmentFlag.AlignCenter)
            self.panel.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
            outer.setContentsMargins(0, 0, 0, 0)
            outer.addWidget(scrolling(middle))
        else:
            outer.addWidget(self.panel, 0, Qt.AlignmentFlag.AlignCenter)
        self.column = QVBoxLayout(self.panel)
        self.column.setContentsMargins(28, 24, 28, 24)
        self.column.setSpacing(12)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setGeometry(parent.rect())

    def paintEvent(self, _event: QPaintEvent) -> None:  # noqa: N802
        """Dim what lies behind."""
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(0, 0, 0, 150))
        painter.end()

    def showEvent(self, _event: object) -> None:  # noqa: N802
        """It came."""
        self.shown.emit(True)

    def hideEvent(self, _event: object) -> None:  # noqa: N802
        """It went."""
        self.shown.emit(False)

    def focusNextPrevChild(self, forward: bool) -> bool:  # noqa: N802
        """Tab stays on the page: what lies below it can't be seen, and Enter would press it."""
        go_on(self, forward, self.PAINTED_STOPS)
        return True  # where nothing takes keys too: Qt would look further below

    def set_look(self, look: Look) -> None:
        """Night or day, for pages that draw or colour anything themselves."""

    def open(self) -> None:
        """Show it, over everything, with the focus."""
        self.show()
        self.raise_()
        self.window().activateWindow()  # its key may have been pressed in another window
        buttons = self.panel.findChildren(Button)
        (buttons[0] if buttons else self).setFocus()


class Layer(QObject):
    """At most one page laid over a widget. `covered` says whenever one comes or goes."""

    covered = Signal(bool)

    def __init__(self, below: QWidget) -> None:
        super().__init__(below)
        self.below = below
        self.current: Overlay | None = None
        below.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802
        """Keep to the size of what lies below."""
        if event.type() == QEvent.Type.Resize and self.current is not None:
            self.current.setGeometry(self.below.rect())
        return super().eventFilter(watched, event)

    @property
    def window(self) -> QWidget:
        """The window that it belongs to."""
        return self.below.window()

    @property
    def covers(self) -> bool:
        """A page lies over it now."""
        return self.current is not None and self.current.isVisible()

    def open(self, overlay: Overlay) -> None:
        """Lay this page over it, in place of the one before."""
        if self.current is not None:
            self.current.hide()
            self.current.deleteLater()
        self.current = overlay
        overlay.shown.connect(self.covered)
        overlay.open()

    def set_look(self, look: Look) -> None:
        """Night or day, of the page that lies over it."""
        if self.covers and self.current is not None:
            self.current.set_look(look)

    def hide(self) -> None:
        """Take the page away."""
        if self.current is not None:
            self.current.hide()

    def hide_first(self) -> bool:
        """Take the page away; False where none lies over it."""
        if not self.covers:
            return False
        self.hide()
        return True


class Help(Overlay):
    """All keys and the cautions."""

    SCROLLS: ClassVar = True

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setAccessibleName("Help: keys and cautions")
        self.column.addWidget(plain("Keys", "title"))
        self._keys, self._cautions = QGridLayout(), QGridLayout()
        self._keys.setHorizontalSpacing(24)
        self._keys.setVerticalSpacing(2)
        self._lines = [(plain(key.shown, "key"), plain(key.words)) for key in KEYS]
        self._pieces = [plain(caution, wrap=True) for caution in cautions.ALL]
        self.column.addLayout(self._keys)
        self.column.addWidget(plain("Cautions", "title"))
        self.column.addLayout(self._cautions)
        self._columns = 0
        self._arrange(2)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802
        """One column where two are too wide."""
        super().resizeEvent(event)
        margins = self.column.contentsMargins()
        self._arrange(2)
        wide = self._keys.sizeHint().width() + margins.left() + margins.right() + EDGE_PX
        if wide > self.width():
            self._arrange(1)

    def _arrange(self, columns: int) -> None:
        if columns == self._columns:
            return
        self._columns = columns
        rows = -(-len(self._lines) // columns)
        for n, (key, words) in enumerate(self._lines):
            self._keys.addWidget(key, n % rows, n // rows * 2)
            self._keys.addWidget(words, n % rows, n // rows * 2 + 1)
        for n, piece in enumerate(self._pieces):
            row, column = divmod(n, columns)
            self._cautions.addWidget(piece, row, column, Qt.AlignmentFlag.AlignTop)


class Question(Overlay):
    """Asks before something that cannot be taken back. Nothing happens unless Yes is pressed."""

    def __init__(
        self,
        parent: QWidget,
        title: str,
        words: str,
        yes: str,
        act: Callable[[], None],
        other: tuple[str, Callable[[], None]] | None = None,
    ) -> None:
        super().__init__(parent)
        self.setAccessibleName(title)
        self.column.addWidget(plain(title, "title"))
        self.column.addWidget(plain(words, wrap=True))
        self.no, self.yes = (
            Button("Keep watching", "Esc", main=True).as_primary(),
            Button(yes, main=True),
        )
        row = QHBoxLayout()
        for button in (self.no, self.yes):
            row.addWidget(button)
        if other is not None:
            self.other = Button(other[0], main=True)
            self.other.clicked.connect(self.hide)
            self.other.clicked.connect(other[1])
            row.addWidget(self.other)
        self.column.addLayout(row)
        self.no.clicked.connect(self.hide)
        self.yes.clicked.connect(self.hide)
        self.yes.clicked.connect(act)
