"""What happened: opens the page of a session, running or past, and has its log read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, Signal

from app.models.key_bindings import Act
from app.services.background import Background
from app.style import theme
from app.views.widgets.overlay import Layer

if TYPE_CHECKING:
    from app.models.session_timeline import SessionTimeline
    from app.views.session.session_page import SessionPage


class SessionController(QObject):
    """`folder` says which session runs now; None from the list alone. `replay_asked` carries an
    `Open`."""

    replay_asked = Signal(object)
    refused = Signal(str)

    def __init__(
        self,
        layer: Layer,
        background: Background,
        folder: Callable[[], Path | None],
        secret: Callable[[], bool],
    ) -> None:
        super().__init__(layer)
        self._layer, self._background = layer, background
        self._folder, self._secret = folder, secret
        self.look = theme.NIGHT

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What its key does."""
        return {Act.SESSION: self.show}

    def show(self) -> None:
        """The session that runs, else the newest one; all others in a list."""
        if self._secret():
            self.refused.emit("That would tell: after the drill.")
            return
        from app.models import report_subjects
        from app.views.session.session_page import SessionPage  # brings the log's reader

        page = SessionPage(self._layer.below, self.look)
        page.wanted.connect(lambda folder: self._read(page, folder))
        page.replay_asked.connect(self._replay)
        self._layer.open(page)
        running = self._folder()

        def offer(subjects: list[report_subjects.Subject]) -> None:
            if page is not self._layer.current:
                return
            newest = next((one.session for one in subjects), None)
            chosen = running or newest
            page.offer(subjects, chosen)
            if chosen is not None:
                self._read(page, chosen)

        self._background.ask(report_subjects.sessions, offer)

    def _read(self, page: SessionPage, folder: Path) -> None:
        def take(found: SessionTimeline | str) -> None:
            if page is self._layer.current:
                page.show_timeline(found)

        self._background.ask(lambda: _timeline(folder), take)

    def _replay(self, request: object) -> None:
        self._layer.hide()
        self.replay_asked.emit(request)


def _timeline(folder: Path) -> SessionTimeline | str:
    from app.models.session_timeline import read_timeline
    from engine.session.schema import NotALogError

    try:
        return read_timeline(folder)
    except (NotALogError, OSError) as error:
        return f"The log can't be read: {' '.join(str(error).split())}"
