"""Which page is laid over the window when: help, settings, history."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from app.style import theme
from app.views.settings_page import SettingsPage
from app.views.widgets.overlay import Help

if TYPE_CHECKING:
    from app.window.main_window import MainWindow


class Overlays:
    """Opens pages over one window, and joins them to what they change."""

    def __init__(self, window: MainWindow) -> None:
        self._window = window

    def show_help(self) -> None:
        """Keys and cautions."""
        self._window.layer.open(Help(self._window.pages))

    def show_settings(self) -> None:
        """All settings; the outputs come later, when the machine has named them."""
        window, prefs = self._window, self._window.prefs
        page = SettingsPage(window.pages, window.look.name, window.alerts.settings, prefs.choices)
        page.chime_changed.connect(window.set_chime)
        page.changed.connect(window.set_choices)
        page.look_changed.connect(lambda name: window.set_look(theme.LOOKS[name]))
        page.test.connect(window.alerts.test)
        page.reset_asked.connect(self._reset)
        window.layer.open(page)
        window.alerts.find_outputs(self._offer_outputs)

    def _reset(self) -> None:
        self._window.reset()
        self.show_settings()

    def _offer_outputs(self, names: Sequence[str]) -> None:
        page = self._window.layer.current
        if isinstance(page, SettingsPage):
            page.set_outputs(names)

    def show_history(self) -> None:
        """Incidents and marks of this watch."""
        window, last = self._window, self._window.watch_page.last
        if window.drills.secret:
            window.watch_page.footer.say("The history would tell: after the drill.")
        elif last is not None:
            from app.views.history_page import (
                HistoryPage,  # brings the log's reader: only when asked
            )

            plan, folder = window.watch_page.plan, window.bridge.folder
            window.layer.open(HistoryPage(window.pages, window.look, plan, last, folder))
