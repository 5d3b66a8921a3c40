"""What came from the track that the line check asks for: large prompt, figures, findings."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QVBoxLayout, QWidget

from app.models.line_check_words import Fact, facts, place_words, prompt, summary, verdict_words
from app.style import wording
from app.views.widgets.basics import Button, plain, say
from app.views.widgets.target_bar import TargetBar
from engine.model.line_results import PEAK_DBFS, SAFETY_DB, SPEECH_DBFS, LineCheck, findings
from engine.model.messages import Kind, PackLevel
from engine.model.tracks import Plan, Track

MOST_FINDINGS: Final = 4
WITH_TARGET: Final = (Kind.LAV, Kind.BOOM)
END: Final = "Enter: what is left, once more. Esc when you are done; ← goes back."


class LineCheckTrack(QWidget):
    """Shows one track, or how the whole check ended."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("clear")
        self.title, self.where = plain("", "huge", wrap=True), plain("", "dim", wrap=True)
        self.ask, self.came = plain("", "large", wrap=True), plain("", "large", wrap=True)
        self.speech, self.peak = TargetBar("Speech level"), TargetBar("Peak level")
        self.facts = [(plain("", "dim"), plain("")) for _ in range(6)]
        self.warnings = [plain("", "warn", wrap=True) for _ in range(MOST_FINDINGS)]
        self.swapped = Button("Swap in the plan", "W")
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(10)
        for label in (self.title, self.where, self.ask, self.came):
            column.addWidget(label)
        for label in self.warnings:
            column.addWidget(label)
        column.addWidget(self.swapped, 0, Qt.AlignmentFlag.AlignLeft)
        column.addLayout(self._figures())

    def _figures(self) -> QGridLayout:
        grid = QGridLayout()
        grid.setHorizontalSpacing(18)
        grid.setVerticalSpacing(6)
        for row, (name, value) in enumerate(self.facts):
            grid.addWidget(name, row, 0)
            grid.addWidget(value, row, 1)
        grid.addWidget(self.speech, 0, 2)
        grid.addWidget(self.peak, 1, 2)
        grid.setColumnStretch(2, 1)
        return grid

    @property
    def _measures(self) -> list[QWidget]:
        return [self.speech, self.peak, *(label for pair in self.facts for label in pair)]

    def show_end(self, state: LineCheck) -> None:
        """How the whole check ended."""
        title, rest = summary(state)
        say(self.title, title)
        say(self.where, rest)
        say(self.ask, END)
        for part in (*self._measures, *self.warnings, self.came, self.swapped):
            part.hide()

    def show_track(self, state: LineCheck, plan: Plan, track: Track, instead: str) -> None:
        """What came of that track; `instead` is said where nothing came, if there is anything."""
        heard = state.heard
        say(self.title, f"{track.input}  {wording.isolate(track.label)}")
        say(self.where, place_words(track))
        say(self.ask, prompt(track))
        if instead and not heard.came:
            say(self.came, instead, "largewarn")
        else:
            tone = "large" if heard.elsewhere is None else "largewarn"
            say(self.came, verdict_words(heard), tone)
        self.came.setAccessibleName(self.came.text())
        for part in (*self._measures, self.came):
            part.show()
        self._show_levels(state, track)
        lines: list[Fact] = facts(heard, plan, track)
        for (name, value), fact in zip(self.facts, lines, strict=True):
            say(name, fact.name)
            say(value, fact.words)
        safety, talks = track.level is PackLevel.SAFETY, track.kind in WITH_TARGET
        problems = findings(heard, safety, talks)
        for row, label in enumerate(self.warnings):
            say(label, wording.sentence(problems[row]) if row < len(problems) else "")
            label.setVisible(row < len(problems))
        self.swapped.setVisible(heard.elsewhere is not None)

    def _show_levels(self, state: LineCheck, track: Track) -> None:
        lower_db = SAFETY_DB if track.level is PackLevel.SAFETY else 0.0
        zones = [(low - lower_db, high - lower_db) for low, high in (SPEECH_DBFS, PEAK_DBFS)]
        levels = (state.heard.speech_dbfs, state.heard.peak_dbfs)
        for bar, level_dbfs, zone in zip((self.speech, self.peak), levels, zones, strict=True):
            bar.put(level_dbfs, zone if track.kind in WITH_TARGET else None)
