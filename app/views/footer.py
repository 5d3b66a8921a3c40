"""The line that is always visible: rolling, watch, chime, alerts, log, audio; and a notice."""

from __future__ import annotations

from math import inf

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QWidget

from app.style import wording
from app.views.widgets.basics import Button, Elided, plain, restyle, say
from engine.model.snapshot import Snapshot

STAYS_S = 10.0
"""A notice of what a key did is read by then, and would be taken for something new later."""
KEY_HINTS = "G glance · M mark · H history · U undo · ? all keys"
FEWEST_HINTS = "? all keys"
NOTICE_PX = 40
"""Left for a notice beside them."""


class Footer(QWidget):
    """State of the whole watch, below every page. `alerts_asked` wants their settings."""

    chime_asked = Signal()
    alerts_asked = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("footer")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.rolling = plain("● rolling", "bold")
        self.audio = plain("Audio: nothing lost")
        self.engine = plain("Engine: starting")
        self.log, self.clock = plain(""), plain("")
        self.chime, self.alerts = Button("Chime", "C"), Button("alerts on")
        self.notice = Elided("bold")
        self._goes_s: float | None = inf
        self._fitted = False
        self.keys = plain(KEY_HINTS)
        self.row = QHBoxLayout(self)
        self.setAccessibleName("State of the watch")
        self._parts = (
            self.rolling,
            self.engine,
            self.chime,
            self.alerts,
            self.log,
            self.audio,
            self.clock,
        )
        for part in self._parts:
            self.row.addWidget(part)
        self.row.addWidget(self.notice, 1)
        self.row.addWidget(self.keys)
        self.chime.clicked.connect(self.chime_asked)
        self.alerts.clicked.connect(self.alerts_asked)

    def set_scale(self, scale: float) -> None:
        """Height and spacing at that size."""
        self._fitted = False
        self.setFixedHeight(round(32 * scale))
        self.row.setContentsMargins(round(18 * scale), 0, round(18 * scale), 0)
        self.row.setSpacing(round(16 * scale))

    def resizeEvent(self, event: object) -> None:  # noqa: N802
        """Hints of keys give way first."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        self._fit()

    def _fit(self) -> None:
        self._fitted = True
        taken = sum(part.sizeHint().width() + self.row.spacing() for part in self._parts)
        margins = self.row.contentsMargins()
        room = self.width() - margins.left() - margins.right() - taken - NOTICE_PX
        whole = self.keys.fontMetrics().horizontalAdvance(KEY_HINTS)
        say(self.keys, KEY_HINTS if whole <= room else FEWEST_HINTS)

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """What the engine says of itself."""
        standby, log = snapshot.standby, snapshot.log
        words = "○ STANDBY" if standby else "● rolling"
        lost = snapshot.audio_lost_s > 0
        alive = "Watch: done" if snapshot.ended else wording.engine_alive(snapshot.engine_load)
        said = [
            say(self.rolling, "ended" if snapshot.ended else words, "amber" if standby else "bold"),
            say(self.audio, wording.audio_lost(snapshot.audio_lost_s), "amber" if lost else ""),
            say(self.engine, alive, ""),
        ]
        if log is not None:
            said.append(say(self.log, wording.log_saved(log), "amber" if log.problem else ""))
        if snapshot.drift_ppm is not None:
            said.append(say(self.clock, wording.drift(snapshot.drift_ppm)))
        if any(said) or not self._fitted:
            self._fit()
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
        self.keys.setVisible(not words)

    def show_chime(self, words: str) -> None:
        """State of the chime, on the button that opens its settings."""
        if self.chime.accessibleName() != words:
            self.chime.put(words, "C")
            silent = any(word in words for word in ("OFF", "QUIET", "NOT"))
            self._warn(self.chime, silent)

    def show_alerts(self, words: str) -> None:
        """State of desktop alerts, on the button that opens their settings."""
        if self.alerts.accessibleName() != words:
            self.alerts.put(words)
            self._warn(self.alerts, words.isupper() or "OFF" in words)

    def _warn(self, button: Button, bad: bool) -> None:
        button.setProperty("tone", "amber" if bad else "")
        restyle(button)
        self._fitted = False
