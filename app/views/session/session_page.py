"""What happened: a session on one page, with the moment looked at and the incident there."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import ClassVar, Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLineEdit, QVBoxLayout, QWidget

from app.models import session_timeline as timelines
from app.models.report_subjects import Subject
from app.models.session_timeline import Filter, SessionTimeline
from app.style import wording
from app.style.theme import Look
from app.views.session.timeline_view import ZOOM, TimelineView
from app.views.widgets.basics import Button, plain, say
from app.views.widgets.overlay import Overlay
from engine.model import fault_remedies
from engine.model.commands import Open
from engine.model.messages import Fault, Incident, Severity

EVERYONE, ALL_FAULTS = "Everyone", "All faults"
SEVERITIES: Final = (("Red and amber", Severity.AMBER), ("Red only", Severity.RED))
READING: Final = "Reading the log…"
SPAN_S: Final = 120.0
"""So much is shown around a moment that one goes to."""
BEFORE_S: Final = 5.0
HINT: Final = "wheel or + − zooms, drag pans · ← → incident before, next · type a time to go there"


class SessionPage(Overlay):
    """`wanted` carries the folder of another session, `replay_asked` an `Open` from a moment."""

    PAINTED_STOPS: ClassVar = (TimelineView,)

    wanted = Signal(object)
    replay_asked = Signal(object)

    def __init__(self, parent: QWidget, look: Look) -> None:
        super().__init__(parent)
        self.setAccessibleName("What happened: a session")
        self.timeline: SessionTimeline | None = None
        self.incidents: tuple[Incident, ...] = ()
        self.sessions, self.who = QComboBox(), QComboBox()
        self.fault, self.severity = QComboBox(), QComboBox()
        self.time = QLineEdit()
        self.view = TimelineView(look)
        self.words = plain(READING, "dim", wrap=True)
        self.problems = plain("", "amber", wrap=True)
        self.what, self.where = plain("", "title", wrap=True), plain("", wrap=True)
        self.listen = Button("Replay from 5 s before", "L").as_primary()
        self.before, self.after = Button("Before", "←"), Button("Next", "→")
        self.done = Button("Close", "Esc")
        self._lay_out()
        self._connect()

    def _lay_out(self) -> None:
        outer = self.layout()
        assert outer is not None
        outer.setAlignment(self.panel, Qt.AlignmentFlag(0))
        self.column.setContentsMargins(16, 12, 16, 12)
        top = QHBoxLayout()
        for box, name in (
            (self.sessions, "Session"),
            (self.who, "Performer"),
            (self.fault, "Fault"),
            (self.severity, "Priority"),
        ):
            box.setAccessibleName(name)
            box.setSizeAdjustPolicy(
                QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
            )
            box.setMinimumContentsLength(14)
            top.addWidget(box, 3 if box is self.sessions else 1)
        self.time.setPlaceholderText("Go to 21:43")
        self.time.setAccessibleName("Go to a clock time or timecode")
        self.time.setMaxLength(12)
        top.addWidget(self.time, 1)
        for words, least in SEVERITIES:
            self.severity.addItem(words, least)
        self.column.addLayout(top)
        self.column.addWidget(self.words)
        self.column.addWidget(self.problems)
        self.problems.hide()
        self.column.addWidget(self.view, 1)
        below = QHBoxLayout()
        facts = QVBoxLayout()
        facts.addWidget(self.what)
        facts.addWidget(self.where)
        below.addLayout(facts, 1)
        for button in (self.before, self.after, self.listen, self.done):
            below.addWidget(button)
        self.column.addLayout(below)
        self.column.addWidget(plain(HINT, "small"))
        self.listen.hide()

    def _connect(self) -> None:
        self.sessions.activated.connect(self._ask)
        for box in (self.who, self.fault, self.severity):
            box.currentIndexChanged.connect(self._filter)
        self.time.returnPressed.connect(self._go_to_typed)
        self.view.moved.connect(self._show_moment)
        self.before.clicked.connect(lambda: self.step(-1))
        self.after.clicked.connect(lambda: self.step(1))
        self.listen.clicked.connect(self._replay)
        self.done.clicked.connect(self.hide)

    def _ask(self, _row: int) -> None:
        """Another session: its log is read beside the window, and that takes a moment."""
        say(self.words, READING, "dim")
        self.wanted.emit(self.sessions.currentData())

    # What it shows

    def set_look(self, look: Look) -> None:
        """Night or day, while it is open too."""
        self.view.look = look
        self.view.update()

    def offer(self, sessions: Sequence[Subject], chosen: Path | None) -> None:
        """The sessions that there are; one of them is read."""
        for one in sessions:
            self.sessions.addItem(one.words, one.session)
            if one.session == chosen:
                self.sessions.setCurrentIndex(self.sessions.count() - 1)
        if not sessions:
            say(self.words, "No session was watched on this computer yet.", "amber")

    def show_timeline(self, found: SessionTimeline | str) -> None:
        """This session, or why it can't be shown."""
        if isinstance(found, str):
            say(self.words, found, "amber")
            return
        self.timeline = found
        record = found.record
        parts = [
            record.title or record.source,
            f"{found.clock(0.0)} to {found.clock(found.length_s)}",
        ]
        for count, noun in ((len(found.tracks), "track"), (len(found.incidents), "incident")):
            parts.append(f"{count} {noun}{'' if count == 1 else 's'}")
        say(self.words, " · ".join(parts), "dim")
        self.problems.setText(f"The watch itself: {found.problem_words}")
        self.problems.setVisible(bool(found.problems))
        self.view.show_timeline(found)
        for box, first, names in (
            (self.who, EVERYONE, timelines.performers(found)),
            (self.fault, ALL_FAULTS, sorted({one.fault.value for one in found.incidents})),
        ):
            box.blockSignals(True)
            box.clear()
            box.addItem(first, "")
            for name in names:
                box.addItem(fault_remedies.word(Fault(name)) if box is self.fault else name, name)
            box.blockSignals(False)
        self.listen.setVisible(found.take is not None)
        self._filter()
        self._show_moment(0.0)
        self.view.setFocus()

    def _filter(self) -> None:
        if self.timeline is None:
            return
        wanted = Filter(
            self.who.currentData() or "",
            self.fault.currentData() or "",
            self.severity.currentData() or Severity.AMBER,
        )
        self.incidents = timelines.shown(self.timeline, wanted)
        self.view.show_incidents(self.incidents)

    def _go_to_typed(self) -> None:
        found = None if self.timeline is None else self.timeline.moment(self.time.text())
        if found is None:
            say(self.what, f"“{self.time.text()}” is no time of this session.")
            say(self.where, "As 21:43, 21:43:10 or a timecode.")
        else:
            self.go(found)
        self.view.setFocus()

    def go(self, at_s: float) -> None:
        """Look at that moment."""
        self.view.go(at_s, SPAN_S)

    def step(self, by: int) -> None:
        """To the incident after or before the moment looked at."""
        found = timelines.neighbour(self.incidents, self.view.at_s, by)
        if found is not None:
            self.go(found.onset_s)

    def _show_moment(self, at_s: float) -> None:
        timeline = self.timeline
        if timeline is None:
            return
        here = [
            one
            for one in self.incidents
            if one.onset_s - 0.5 <= at_s <= (timeline.length_s if one.end_s is None else one.end_s)
        ]
        if not here:
            say(self.what, timeline.labels(at_s))
            say(self.where, "Nothing wrong then." if self.incidents else "No incident.")
            return
        one = max(here, key=lambda incident: (incident.severity, incident.onset_s))
        say(self.what, self._title(timeline, one))
        say(self.where, self._facts(timeline, one))

    @staticmethod
    def _title(timeline: SessionTimeline, one: Incident) -> str:
        numbers = timelines.tracks_of(one)
        track = timeline.plans.track(numbers[0], one.onset_s) if len(numbers) == 1 else None
        name = (
            f"{numbers[0]} {wording.isolate(track.label)}"
            if track
            else f"tracks {wording.numbers(numbers)}"
        )
        return f"{name} · {fault_remedies.word(one.fault)} · {one.severity.word}"

    @staticmethod
    def _facts(timeline: SessionTimeline, one: Incident) -> str:
        numbers = timelines.tracks_of(one)
        track = timeline.plans.track(numbers[0], one.onset_s) if len(numbers) == 1 else None
        end = "the end" if one.end_s is None else timeline.labels(one.end_s)
        lasted = (timeline.length_s if one.end_s is None else one.end_s) - one.onset_s
        parts = [f"{timeline.labels(one.onset_s)} to {end}, {wording.lasted(lasted)}"]
        if track is not None:
            parts += [f"pack {track.pack} {track.placement}".strip()] if track.pack else []
            parts += [f"receiver {track.receiver}"] if track.receiver else []
        if one.uncovered:
            parts.append("no backup")
        elif one.covered_by is not None:
            cover = timeline.plans.track(one.covered_by, one.onset_s)
            parts.append(f"use {one.covered_by} {cover.label if cover else ''}".strip())
        parts += [one.detail] if one.detail else []
        return " · ".join(parts)

    def _replay(self) -> None:
        timeline = self.timeline
        if timeline is not None and timeline.take is not None:
            plan = timeline.record.request.plan
            start_s = max(self.view.at_s - BEFORE_S, 0.0)
            self.replay_asked.emit(Open(take=str(timeline.take), plan=plan, start_s=start_s))

    # Keys

    def resizeEvent(self, event: object) -> None:  # noqa: N802
        """The line for a time holds its hint, however large the letters are."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        self.time.ensurePolished()
        metrics = self.time.fontMetrics()
        wide = metrics.horizontalAdvance(self.time.placeholderText()) + 2 * metrics.height()
        self.time.setMinimumWidth(wide)

    def open(self) -> None:
        """Show it; keys go to the time line."""
        super().open()
        self.setFocus()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Zoom, pan, incidents; a digit begins a time to go to."""
        match event.key():
            case Qt.Key.Key_Left:
                self.step(-1)
            case Qt.Key.Key_Right:
                self.step(1)
            case Qt.Key.Key_PageUp:
                self.view.pan(-0.8 * (self.view.end_s - self.view.begin_s))
            case Qt.Key.Key_PageDown:
                self.view.pan(0.8 * (self.view.end_s - self.view.begin_s))
            case Qt.Key.Key_Home:
                self.go(0.0)
            case Qt.Key.Key_End if self.timeline is not None:
                self.go(self.timeline.length_s)
            case Qt.Key.Key_Plus | Qt.Key.Key_Equal:
                self.view.zoom(1 / ZOOM)
            case Qt.Key.Key_Minus:
                self.view.zoom(ZOOM)
            case Qt.Key.Key_L if self.listen.isVisible():
                self._replay()
            case _ if event.text().isdecimal():
                self.time.setText(event.text())
                self.time.setFocus()
            case _:
                super().keyPressEvent(event)
