"""Audio lost, engine, chime, a notice, and the keys worth knowing."""

from __future__ import annotations

from math import inf

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QWidget

from app.style import wording
from app.views.widgets.basics import Button, Elided, plain, say
from engine.model.messages import Snapshot

STAYS_S = 15.0
"""A notice of what a key did is read by then, and would be taken for something new later."""
KEY_HINTS = "G glance · M mark · B break · H history · U undo · ? help"


class Footer(QWidget):
    """The line below the board."""

    chime_asked = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("footer")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.audio = plain("Audio: nothing lost")
        self.engine = plain("Engine: starting")
        self.log, self.clock = plain(""), plain("")
        self.chime = Button("Chime", "C")
        self.notice = Elided("bold")
        self._goes_s: float | None = inf
        self.keys = plain(KEY_HINTS)
        self.row = QHBoxLayout(self)
        for part in (self.audio, self.engine, self.log, self.clock, self.chime):
            self.row.addWidget(part)
        self.row.addWidget(self.notice, 1)
        self.row.addWidget(self.keys)
        self.chime.clicked.connect(self.chime_asked)

    def set_scale(self, scale: float) -> None:
        """Height and spacing at that size."""
        self.setFixedHeight(round(32 * scale))
        self.row.setContentsMargins(round(18 * scale), 0, round(18 * scale), 0)
        self.row.setSpacing(round(22 * scale))

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """What the engine says of itself."""
        lost = snapshot.audio_lost_s > 0
        say(self.audio, wording.audio_lost(snapshot.audio_lost_s), "amber" if lost else "")
        if snapshot.ended:
            say(self.engine, "Engine: done", "")
        else:
            say(self.engine, wording.engine_alive(snapshot.engine_load), "")
        if snapshot.log is not None:
            say(self.log, wording.log_saved(snapshot.log), "amber" if snapshot.log.problem else "")
        if snapshot.drift_ppm is not None:
            say(self.clock, wording.drift(snapshot.drift_ppm))
        if snapshot.notice:
            self.say(snapshot.notice)
        elif self._goes_s is None:
            self._goes_s = snapshot.now_s + STAYS_S
        elif snapshot.now_s >= self._goes_s:
            self.say("")

    def show_silence(self, seconds: float) -> None:
        """The engine does not answer."""
        say(self.engine, wording.engine_silent(seconds), "red")

    def say(self, words: str, stay: bool = False) -> None:
        """Leave a notice: for a while, or until there is another."""
        self._goes_s = inf if stay else None
        say(self.notice, words)
        self.notice.setToolTip("")
        self.notice.setAccessibleName(words)

    def show_chime(self, words: str) -> None:
        """State of the chime, on the button that opens its settings."""
        if self.chime.accessibleName() != words:
            self.chime.put(words, "C")
