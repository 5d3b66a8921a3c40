"""Sharing the glance view with phones, from the window."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject

from app.fleet import broker_address
from app.models.key_bindings import Act
from app.page.launch import MADE, PageWish, launch
from app.services.background import Background
from app.services.bridge import Bridge
from app.services.page_link import PageLink
from app.services.preferences import Preferences
from app.views.share_page import SharePage
from app.views.widgets.overlay import Layer


class ShareController(QObject):
    """Opens the page's panel; the page is a process of its own and outlives the window."""

    def __init__(
        self, bridge: Bridge, layer: Layer, background: Background, prefs: Preferences
    ) -> None:
        super().__init__(layer)
        self._bridge, self._layer, self._background = bridge, layer, background
        self._prefs = prefs
        self._link = PageLink(self)
        self._link.status.connect(self._show_status)
        self._link.gone.connect(self._show_off)
        self._problem = ""

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What the key of the panel does."""
        return {Act.SHARE: self.show}

    def show(self) -> None:
        """The panel, as the page of this watch stands."""
        page = SharePage(self._layer.below)
        page.start_asked.connect(self.start)
        page.new_code_asked.connect(lambda: self._link.order("new code"))
        page.off_asked.connect(lambda: self._link.order("off"))
        page.may_see_changed.connect(lambda on: self._link.order("may see", on=on))
        self._problem = ""
        self._layer.open(page)
        self._link.join(self._bridge.folder)

    def start(self, encrypted: bool) -> None:
        """Start the page's process."""
        folder = self._bridge.folder
        if folder is None:
            return
        wish = PageWish("", MADE if encrypted else "", *self._site())
        if (page := self._page()) is not None:
            page.show_starting()
        self._background.ask(lambda: launch(folder, wish), self._started)

    def _site(self) -> tuple[str, str, str]:
        """The site whose carts the page shows as well, where this watch is published."""
        choices = self._prefs.publish
        if not choices.on:
            return "", "", ""
        return broker_address.site_of(choices.address), choices.login, choices.ca

    def _started(self, said: dict[str, Any]) -> None:
        self._problem = f"Not shared: {said['error']}" if "error" in said else ""
        self._link.join(self._bridge.folder)

    def _page(self) -> SharePage | None:
        page = self._layer.current
        return page if isinstance(page, SharePage) else None

    def _show_status(self, status: dict[str, Any]) -> None:
        if (page := self._page()) is not None:
            page.show_status(status)

    def _show_off(self) -> None:
        if (page := self._page()) is not None:
            page.show_off(self._problem)
