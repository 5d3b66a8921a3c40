"""All carts of a site, on a page and in a window of its own."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Final, Protocol

from PySide6.QtCore import QObject, QTimer
from PySide6.QtWidgets import QWidget

from app.fleet import broker_address
from app.fleet.all_carts import AllCarts
from app.fleet.broker_address import Broker, BrokerAddressError, BrokerLogin
from app.fleet.overview_rows import alarm_row, cart_row
from app.models.key_bindings import Act
from app.services.background import Background
from app.services.preferences import Preferences
from app.style import theme
from app.style.theme import Look
from app.views.widgets.overlay import Layer

if TYPE_CHECKING:
    from app.views.fleet.overview_page import Overview, OverviewPage, OverviewWindow

DRAW_MS: Final = 250
PLACE: Final = "overview"


class Reader(Protocol):
    """A site as the overview sees it; `SiteReader` is one."""

    carts: AllCarts

    @property
    def problem(self) -> str:
        """Why the broker does not answer; empty where it does."""
        ...

    def take_in(self) -> bool:
        """Messages that came since the last call."""
        ...

    def close(self) -> None:
        """Let go of the broker; may wait for the network."""
        ...


def read_site(broker: Broker, login: BrokerLogin) -> Reader:
    """Begin to follow that site."""
    from app.fleet.site_reader import SiteReader  # brings the MQTT library: only when asked

    return SiteReader(broker, login)


class OverviewController(QObject):
    """Follows a site as long as page or window shows it."""

    def __init__(
        self,
        layer: Layer,
        prefs: Preferences,
        background: Background,
        beside: QWidget,
        read: Callable[[Broker, BrokerLogin], Reader] = read_site,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__(layer)
        self._layer, self._prefs, self._background = layer, prefs, background
        self._beside, self._read, self._clock = beside, read, clock
        self.look: Look = theme.NIGHT
        self.window: OverviewWindow | None = None
        self._opened: OverviewPage | None = None
        self._reader: Reader | None = None
        self._site = ""
        self._timer = QTimer(self, interval=DRAW_MS)
        self._timer.timeout.connect(self.draw)

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What its key does."""
        return {Act.OVERVIEW: self.show}

    @property
    def site(self) -> str:
        """The site to follow: the one chosen last, else the one that this cart publishes to."""
        choices = self._prefs.publish
        try:
            return choices.site or broker_address.site_of(choices.address)
        except BrokerAddressError:
            return ""

    def show(self) -> None:
        """The page, at the site that was followed last."""
        from app.views.fleet.overview_page import OverviewPage

        page = OverviewPage(self._layer.below, self.look, self.site)
        page.wanted.connect(self.follow)
        page.window_asked.connect(self.open_window)
        page.shown.connect(lambda shown: None if shown else self._rest())
        self._opened = page
        self._layer.open(page)
        if self.site:
            self.follow(self.site)

    def follow(self, address: str) -> None:
        """Follow that site from now on, and the next time."""
        page = self._page
        try:
            broker = broker_address.parse(address, cart=False)
        except BrokerAddressError as error:
            if page is not None:
                page.show_problem(str(error))
            return
        if page is not None:
            page.show_problem("")
        choices = self._prefs.publish
        self._prefs.publish = replace(choices, site=address)
        if self._reader is None or self._site != address:
            self._let_go()
            self._site = address
            login = BrokerLogin(choices.login, choices.ca)
            self._background.ask(lambda: self._begin(broker, login), self._began)
        self._timer.start()

    def _begin(self, broker: Broker, login: BrokerLogin) -> Reader | str:
        try:
            return self._read(broker, login)
        except OSError as error:
            return str(error)

    def _began(self, reader: Reader | str) -> None:
        if isinstance(reader, str):
            if self._page is not None:
                self._page.show_problem(reader)
            return
        self._let_go()
        self._reader = reader
        self.draw()

    def open_window(self) -> None:
        """In a window of its own; the page makes room."""
        from app.views.fleet.overview_page import OverviewWindow

        if self.window is None:
            self.window = OverviewWindow(self.look)
            self.window.closed.connect(self._keep_place)
        self.window.open(self._prefs.place(PLACE), self._beside)
        self._layer.hide()
        self.draw()

    def set_look(self, look: Look) -> None:
        """Night or day."""
        self.look = look
        for view in self._views():
            view.set_look(look)
        if self.window is not None:
            self.window.set_look(look)

    def draw(self) -> None:
        """Take in what came and show it."""
        reader, views = self._reader, self._views()
        if reader is None or not views:
            return
        reader.take_in()
        now = self._clock()
        carts = [cart_row(cart) for cart in reader.carts.carts(now)]
        alarms = [alarm_row(alarm) for alarm in reader.carts.alarms(now)]
        head = f"{self._site}: {_count(carts, 'cart')}, {_count(alarms, 'alarm')}"
        for view in views:
            view.put(head, reader.problem, carts, alarms)

    def close(self) -> None:
        """The window goes."""
        self._timer.stop()
        self._let_go()
        if self.window is not None:
            self.window.close()

    @property
    def _page(self) -> OverviewPage | None:
        """The page, unless another was opened in its place, which deletes it."""
        return self._opened if self._opened is self._layer.current else None

    def _views(self) -> list[Overview]:
        page = self._page
        shown = [page.view] if page is not None and page.isVisible() else []
        if self.window is not None and self.window.isVisible():
            shown.append(self.window.view)
        return shown

    def _keep_place(self) -> None:
        if self.window is not None:
            self._prefs.set_place(PLACE, self.window.saveGeometry())
        QTimer.singleShot(0, self._rest)

    def _rest(self) -> None:
        """Nobody looks any more: let go of the broker."""
        if not self._views():
            self._timer.stop()
            self._let_go()

    def _let_go(self) -> None:
        reader, self._reader = self._reader, None
        if reader is not None:
            threading.Thread(target=reader.close, name="site reader ends", daemon=True).start()


def _count(rows: Sequence[object], what: str) -> str:
    return f"{len(rows)} {what}" if len(rows) == 1 else f"{len(rows)} {what}s"
