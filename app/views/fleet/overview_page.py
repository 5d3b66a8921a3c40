"""All carts of a site: worst first, then all that is wrong on them in one list."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from PySide6.QtCore import QByteArray, Qt, Signal
from PySide6.QtGui import QCloseEvent, QGuiApplication, QKeyEvent
from PySide6.QtWidgets import QHBoxLayout, QHeaderView, QLineEdit, QTableView, QVBoxLayout, QWidget

from app.fleet.overview_rows import ALARM_COLUMNS, CART_COLUMNS, OverviewRow
from app.style import state_shapes, theme
from app.style.theme import Look
from app.views.fleet.overview_table import OverviewTable, table_view
from app.views.widgets.basics import Button, plain, say
from app.views.widgets.overlay import Overlay

NO_SITE: Final = (
    "Each cart that publishes its watch (settings, or --publish) shows here: type where the crew's "
    "broker is and what the site is called there."
)
SHAPE: Final = "mqtt://192.168.7.2/belfry"
WHERE_COLUMN: Final = 4
MOST_FOR_CARTS: Final = 0.45


class Overview(QWidget):
    """Both tables; says over them what stands here is old."""

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.carts, self.alarms = (
            OverviewTable(look, CART_COLUMNS),
            OverviewTable(look, ALARM_COLUMNS),
        )
        self.head, self.old = plain(NO_SITE, "dim", wrap=True), plain("", "red", wrap=True)
        self.old.hide()
        self.cart_view = table_view(self.carts, "Carts", 1)
        self.alarm_view = table_view(self.alarms, "All that is wrong", 2)
        self.cart_view.horizontalHeader().setStretchLastSection(True)
        header = self.alarm_view.horizontalHeader()
        header.setSectionResizeMode(WHERE_COLUMN, QHeaderView.ResizeMode.Stretch)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        for part in (self.head, self.old):
            column.addWidget(part)
        column.addWidget(self.cart_view)
        column.addWidget(self.alarm_view, 1)
        self.set_look(look)

    def set_look(self, look: Look) -> None:
        """Night or day; rows as high as their letters."""
        for table in (self.carts, self.alarms):
            table.set_look(look)
        self._fit_rows()

    def changeEvent(self, event: object) -> None:  # noqa: N802
        """Another style sheet, other letters."""
        super().changeEvent(event)  # type: ignore[arg-type]
        if hasattr(self, "alarm_view"):
            self._fit_rows()

    def _fit_rows(self) -> None:
        for view, lines in ((self.cart_view, 1), (self.alarm_view, 2)):
            height = view.fontMetrics().lineSpacing() * lines + 12
            view.verticalHeader().setDefaultSectionSize(height)
        self._fit_carts()

    def _fit_carts(self) -> None:
        """All carts, as long as that leaves more than half of the page to what is wrong."""
        header, rows = self.cart_view.horizontalHeader(), self.cart_view.verticalHeader()
        whole = header.sizeHint().height() + len(self.carts.rows) * rows.defaultSectionSize() + 6
        self.cart_view.setFixedHeight(min(whole, round(self.height() * MOST_FOR_CARTS)))

    def resizeEvent(self, event: object) -> None:  # noqa: N802
        """More room, more carts."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        self._fit_carts()

    def put(
        self, head: str, problem: str, carts: Sequence[OverviewRow], alarms: Sequence[OverviewRow]
    ) -> None:
        """Show these; `problem`: why the broker says nothing."""
        say(self.head, head)
        say(self.old, f"NO BROKER: {problem}. What stands here is old." if problem else "")
        self.old.setVisible(bool(problem))
        self.carts.put(carts)
        self.alarms.put(alarms)
        self._fit_carts()
        for view in (self.cart_view, self.alarm_view):
            view.setEnabled(not problem)

    @property
    def views(self) -> tuple[QTableView, QTableView]:
        """The tables, carts first."""
        return self.cart_view, self.alarm_view


class OverviewPage(Overlay):
    """`wanted` carries the address of a site; `window_asked` wants it in a window of its own."""

    wanted = Signal(str)
    window_asked = Signal()

    def __init__(self, parent: QWidget, look: Look, site: str) -> None:
        super().__init__(parent)
        self.setAccessibleName("All carts")
        outer = self.layout()
        assert outer is not None
        outer.setAlignment(self.panel, Qt.AlignmentFlag(0))
        self.column.addWidget(plain("All carts", "title"))
        self.site = QLineEdit(site)
        self.site.setPlaceholderText(SHAPE)
        self.site.setAccessibleName("Address of the site at the broker")
        self.follow = Button("Follow", "Enter").as_primary()
        self.apart = Button("In a window of its own", "W")
        self.done = Button("Close", "Esc")
        row = QHBoxLayout()
        row.addWidget(plain("Site"))
        row.addWidget(self.site, 1)
        for button in (self.follow, self.apart, self.done):
            row.addWidget(button)
        self.column.addLayout(row)
        self.problem = plain("", "red", wrap=True)
        self.problem.hide()
        self.column.addWidget(self.problem)
        self.view = Overview(look)
        self.column.addWidget(self.view, 1)
        self.site.returnPressed.connect(self._ask)
        self.follow.clicked.connect(self._ask)
        self.apart.clicked.connect(self.window_asked)
        self.done.clicked.connect(self.hide)

    def open(self) -> None:
        """Show it, with the keys on the table or, without a site, on its address."""
        super().open()
        (self.view.cart_view if self.site.text() else self.site).setFocus()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """W while no address is being typed."""
        if event.key() == Qt.Key.Key_W:
            self.window_asked.emit()
        else:
            super().keyPressEvent(event)

    def show_problem(self, words: str) -> None:
        """Why that site can't be followed; empty where it can."""
        say(self.problem, words)
        self.problem.setVisible(bool(words))

    def _ask(self) -> None:
        self.wanted.emit(self.site.text().strip())


class OverviewWindow(QWidget):
    """The same in a window of its own, for a second screen; `closed` says when it goes."""

    closed = Signal()

    def __init__(self, look: Look) -> None:
        super().__init__()
        self.setObjectName("page")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setWindowTitle("trackwarden: all carts")
        self.setWindowIcon(state_shapes.window_icon())
        self.setMinimumSize(640, 360)
        self.view = Overview(look)
        column = QVBoxLayout(self)
        column.setContentsMargins(16, 12, 16, 12)
        column.addWidget(self.view)
        self._look = look
        self.set_look(look)

    def set_look(self, look: Look) -> None:
        """Night or day."""
        self._look = look
        self._dress()
        self.view.set_look(look)

    def _dress(self) -> None:
        self.setPalette(theme.palette(self._look))
        self.setStyleSheet(theme.sheet(self._look, theme.scale_for(self.width(), self.height())))

    def resizeEvent(self, event: object) -> None:  # noqa: N802
        """Letters as large as the window allows."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        self._dress()

    def open(self, place: QByteArray, beside: QWidget) -> None:
        """Show it where it stood last, else on the first screen that `beside` is not on."""
        if not (place.size() and self.restoreGeometry(place)):
            others = [s for s in QGuiApplication.screens() if s is not beside.screen()]
            self.resize(1280, 720)
            if others:
                self.setGeometry(others[0].availableGeometry())
        self.show()
        self.raise_()
        self.activateWindow()

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802
        """Tell."""
        self.closed.emit()
        super().closeEvent(event)
