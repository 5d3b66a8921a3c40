"""Desktop alerts: what is new and urgent, for who looks at something else. Joins them to Qt."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from PySide6.QtCore import QObject, Qt, Signal
from PySide6.QtGui import QGuiApplication, QIcon
from PySide6.QtWidgets import QApplication, QSystemTrayIcon, QWidget

from app.alerts.notification_service import (
    Notification,
    NotificationService,
    Urgency,
    has_bus,
    message,
)
from app.alerts.unseen import UnseenAlarms
from app.models.alarm_card import Card

_MINIMIZED = Qt.WindowState.WindowMinimized
NO_TRAY = "this desktop shows neither notifications nor a tray"


class Service(Protocol):
    """Shows notifications; see `NotificationService`."""

    def start(self) -> None:
        """Find the service."""

    def show(self, notification: Notification) -> None:
        """Show it in place of the one before."""

    def clear(self) -> None:
        """Take it away."""

    def close(self) -> None:
        """Let go of it."""


Changed = Callable[[bool, str], None]
Clicked = Callable[[], None]


def service_here(changed: Changed, clicked: Clicked) -> Service | None:
    """The notification service over D-Bus; None where there is no such thing."""
    return NotificationService(changed, clicked) if has_bus() else None


class DesktopAlerts(QObject):
    """Shows the newest alarm in place of the one before; over D-Bus, else by the tray.

    clicked : carries the input number of the alarm that was shown
    problem : why nobody is alerted, one line; empty while alerts work
    """

    clicked = Signal(int)
    _service_changed = Signal(bool, str)
    _service_clicked = Signal()

    def __init__(
        self,
        window: QWidget,
        make_service: Callable[[Changed, Clicked], Service | None] = service_here,
    ) -> None:
        super().__init__(window)
        self._window, self._make_service = window, make_service
        application = QGuiApplication.instance()
        if isinstance(application, QGuiApplication):
            application.focusWindowChanged.connect(self._follow_focus)
        self._service_changed.connect(self._take_service)
        self._service_clicked.connect(self._click)
        self._service: Service | None = None
        self._tray: QSystemTrayIcon | None = None
        self._unseen = UnseenAlarms()
        self._track = 0
        self._stands = False
        self.on = True
        self.drill = False
        self.problem = ""
        self.route = ""

    def start(self, icon: QIcon) -> None:
        """Begin anew with a watch, and find a way to the desktop."""
        self._unseen = UnseenAlarms()
        self._icon = icon
        if self._service is None:
            self._service = self._make_service(
                self._service_changed.emit, self._service_clicked.emit
            )
            if self._service is None:
                self._use_tray(NO_TRAY)
            else:
                self._service.start()

    def _take_service(self, works: bool, words: str) -> None:
        if works:
            self.problem, self.route = "", words
            self._drop_tray()
        else:
            self._use_tray(words)

    def _use_tray(self, problem: str) -> None:
        if not QSystemTrayIcon.isSystemTrayAvailable():
            self.problem, self.route = problem, ""
            return
        self.problem, self.route = "", "tray"
        if self._tray is None:
            self._tray = QSystemTrayIcon(self._icon, self)
            self._tray.messageClicked.connect(self._click)
            self._tray.show()

    def _drop_tray(self) -> None:
        if self._tray is not None:
            self._tray.hide()
            self._tray = None

    def show_cards(self, cards: Sequence[Card]) -> None:
        """Alert of what is new among them; what nobody needs any more is taken away."""
        news = self._unseen.news(cards)
        if news is not None and self.on:
            self.alert(*news)
        elif not self._unseen.waits:
            self.clear()

    def clear(self) -> None:
        """Take away what stands: it was seen, or is watched no more."""
        if self._stands and self._service is not None:
            self._service.clear()
        self._stands = False

    def _follow_focus(self) -> None:
        """Whoever comes to the window needs no alert of it any more."""
        if self._stands and self._window.isActiveWindow():
            self.clear()

    def alert(self, card: Card, also: Sequence[Card] = ()) -> None:
        """Alert of that card and name the others, unless the window is being worked in."""
        self._track = min(card.tracks, default=0)
        if self._window.isActiveWindow():
            return
        QApplication.alert(self._window)
        shown = message(card, also, self.drill)
        if self._tray is not None:
            self._tray.showMessage(shown.title, shown.body, QSystemTrayIcon.MessageIcon.Warning)
        elif self._service is not None:
            self._stands = True
            self._service.show(shown)

    def alert_unwatched(self, words: str) -> None:
        """Alert that nobody watches any more."""
        QApplication.alert(self._window)
        if self.on and self._service is not None and not self._window.isActiveWindow():
            self._service.show(Notification("NOT WATCHING", words, Urgency.CRITICAL))

    def words(self) -> str:
        """State for the line that is always visible."""
        if not self.on:
            return "alerts OFF"
        return "NO ALERTS" if self.problem else "alerts on"

    def _click(self) -> None:
        window = self._window
        window.setWindowState(window.windowState() & ~_MINIMIZED)
        window.show()
        window.raise_()
        window.activateWindow()
        if self._track:
            self.clicked.emit(self._track)

    def close(self) -> None:
        """Let go of the desktop."""
        self._drop_tray()
        service, self._service = self._service, None
        if service is not None:
            service.close()
