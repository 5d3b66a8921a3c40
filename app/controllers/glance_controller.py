"""The glance views: one in the window, one in a window of its own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QWidget

from app.models.alarm_card import Card
from app.models.choices import Choices
from app.models.glance_lines import Scene, scene
from app.services.preferences import Preferences
from app.style.theme import Look
from app.views.glance.glance_view import Glance
from app.views.glance.glance_window import GlanceWindow
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan

PLACE: Final = "glance"


class GlanceController(QObject):
    """Both say the same; what is not seen is not worked out."""

    def __init__(self, look: Look, prefs: Preferences, beside: QWidget) -> None:
        super().__init__(beside)
        self._prefs, self._beside = prefs, beside
        self.page, self.window = Glance(look), GlanceWindow(look)
        self.window.closed.connect(self._keep_place)

    @property
    def _views(self) -> tuple[Glance, Glance]:
        return self.page, self.window.view

    def set_look(self, look: Look) -> None:
        """Night or day."""
        for view in self._views:
            view.set_look(look)

    def set_choices(self, choices: Choices) -> None:
        """From how far they are read, and on how large a screen."""
        for view in self._views:
            view.set_reader(choices.glance_m, choices.screen_inch)

    def show_snapshot(
        self, plan: Plan, snapshot: Snapshot | None, cards: Sequence[Card], clock: str, quiet: str
    ) -> None:
        """Bring what is seen up to date; `quiet` says why no chime sounds."""
        views = [view for view in self._views if view.isVisible()]
        if views and snapshot is not None:
            shown = scene(plan, snapshot, cards, clock[:8], quiet)
            for view in views:
                view.put(shown)

    def show_silence(self, words: str) -> None:
        """Nobody watches."""
        for view in self._views:
            view.put(Scene(marks=(f"NOT WATCHING: {words}",), blind=True))

    def toggle_window(self) -> None:
        """Open the window of its own, or close it."""
        if self.window.isVisible():
            self.window.close()
        else:
            self.window.open(self._prefs.place(PLACE), self._beside)

    def _keep_place(self) -> None:
        self._prefs.set_place(PLACE, self.window.saveGeometry())
