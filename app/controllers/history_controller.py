"""The incidents and marks of the watch that runs."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QObject

from app.models.key_bindings import Act
from app.services.bridge import Bridge
from app.views.watch_page import WatchPage
from app.views.widgets.overlay import Layer
from engine.model.snapshot import Snapshot


class HistoryController(QObject):
    """Opens the page; `secret` says that a drill must not be given away by it."""

    def __init__(
        self, bridge: Bridge, page: WatchPage, layer: Layer, secret: Callable[[], bool]
    ) -> None:
        super().__init__(page)
        self._bridge, self._page, self._layer, self._secret = bridge, page, layer, secret

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What the key of the history does."""
        return {Act.HISTORY: self.show}

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """The page is live: what is new is read from the log."""
        page = self._layer.current
        if snapshot.events and self._layer.covers:
            follow = getattr(page, "follow", None)
            if follow is not None:
                follow(snapshot)

    def show(self) -> None:
        """Incidents and marks of this watch."""
        page = self._page
        if self._secret():
            page.footer.say("The history is hidden until after the drill.")
        elif page.last is not None:
            from app.views.history_page import (
                HistoryPage,  # brings the log's reader: only when asked
            )

            below, folder = self._layer.below, self._bridge.folder
            self._layer.open(HistoryPage(below, page.look, page.plan, page.last, folder))
