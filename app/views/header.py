"""Title, input or take, time watched, standby switch, timecode."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QWidget

from app.style import wording
from app.views.widgets.basics import Button, Elided, StateButton, plain, say
from engine.model.commands import Watch
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan, Track

NO_PLAN: Final = "no plan: P makes one"
LEAST_PX: Final = 40
"""Of a title in the narrowest window."""
LEAST_SOURCE_PX: Final = 90
"""Less of its name says nothing; ours, by eye."""


class Header(QWidget):
    """The line above the board."""

    standby_asked = Signal()
    look_asked = Signal()
    report_asked = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("header")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.title, self.source = Elided("title"), Elided("dim")
        self.time = plain("", "dim")
        self.quiet = plain("", "quiet")
        self.quiet.hide()
        self.standby = StateButton("● Rolling", "Go to standby", "R")
        self.report = Button("Report", "W")
        self.look = StateButton("Night", "Day look", "N")
        self.origin = plain("", "dim")
        self.clock = plain("", "clock")
        self.clock.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        self.clock.setAccessibleName("Clock")
        self._row = QHBoxLayout(self)
        for part in (self.title, self.source, self.time):
            self._row.addWidget(part)
        self._row.addStretch(1)
        self._row.addWidget(self.quiet, 0, Qt.AlignmentFlag.AlignVCenter)
        self._row.addWidget(self.standby)
        self._row.addWidget(self.report)
        self._row.addWidget(self.look)
        self._row.addWidget(self.origin)
        self._row.addWidget(self.clock)
        self.standby.clicked.connect(self.standby_asked)
        self.report.clicked.connect(self.report_asked)
        self.look.clicked.connect(self.look_asked)
        self._watch: Watch | None = None
        self._standby = False
        self._fitted = False

    def set_scale(self, scale: float) -> None:
        """Height and spacing at that size."""
        self._fitted = False
        self.setFixedHeight(round(44 * scale))
        self._row.setContentsMargins(round(18 * scale), 0, round(18 * scale), 0)
        self._row.setSpacing(round(18 * scale))
        self.clock.setMinimumWidth(0)
        self.clock.ensurePolished()
        wide = self.clock.fontMetrics().horizontalAdvance("00:00:00:00")
        # Fixed both ways: else the whole window would be laid out anew with each of its frames.
        self.clock.setFixedSize(wide + round(4 * scale), self.height())

    def resizeEvent(self, event: object) -> None:  # noqa: N802
        """Share the room anew."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        self._fit()

    def _fit(self) -> None:
        """The source gives way first, then how long it is watched; the title keeps its words."""
        self._fitted = True
        gap, margins = self._row.spacing(), self._row.contentsMargins()
        fixed = (self.standby, self.report, self.look, self.origin, self.clock)
        quiet = (self.quiet,) if self.quiet.isVisibleTo(self) else ()
        room = self.width() - margins.left() - margins.right() - gap
        room -= sum(part.sizeHint().width() + gap for part in (*quiet, *fixed[:-1]))
        room -= self.clock.width() + gap
        title = min(self.title.sizeHint().width(), max(room, LEAST_PX))
        self.title.setMinimumWidth(title)
        time = self.time.sizeHint().width() + gap
        self.time.setVisible(title + time <= room)
        self.source.setVisible(title + time + gap + LEAST_SOURCE_PX <= room)

    def set_look(self, name: str) -> None:
        """Name the look on its button."""
        self._fitted = False
        night = name == "night"
        self.look.put_state("Night" if night else "Day", "Day look" if night else "Night look")

    def start(self, watch: Watch) -> None:
        """Name a new watch."""
        self._fitted = False
        self._watch = watch
        say(self.title, watch.plan.title or watch.source)
        parts = [watch.source if watch.plan.title else "", watch.rate]
        parts.append(NO_PLAN if _says_nothing(watch.plan) else "")
        say(self.source, " · ".join(p for p in parts if p))
        say(self.time, "opening")
        say(self.clock, "")
        say(self.origin, "")

    def show_quiet(self, words: str) -> None:
        """Why no chime sounds; empty while they do."""
        if say(self.quiet, words):
            self.quiet.setAccessibleName(words)
            self._fitted = False
        if self.quiet.isVisibleTo(self) != bool(words):
            self.quiet.setVisible(bool(words))

    def show_snapshot(self, snapshot: Snapshot) -> None:
        """Times and the switch."""
        watch = self._watch
        if watch is None:
            return
        done = "ended" if snapshot.ended else "watching"
        words = f"{done} {wording.watching(snapshot.now_s)}"
        if watch.duration_s is not None:
            words += f" of {wording.watching(watch.duration_s)}"
        say(self.clock, snapshot.timecode)
        longer = say(self.time, words)
        if say(self.origin, wording.origin(snapshot.timecode_origin)) or longer or not self._fitted:
            self._fit()
        if snapshot.standby != self._standby:
            self._standby = snapshot.standby
            if snapshot.standby:
                self.standby.put_state("○ Standby", "Roll")
            else:
                self.standby.put_state("● Rolling", "Go to standby")


def _says_nothing(plan: Plan) -> bool:
    """No more than a watch without a plan knows: inputs and their names."""
    return all(track == Track(track.input, track.name) for track in plan.tracks)
