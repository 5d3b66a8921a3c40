"""Chime and desktop alert, driven by snapshots. Joins the pure parts to Qt."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from typing import Final

from PySide6.QtCore import QObject, Signal
from PySide6.QtGui import QIcon
from PySide6.QtWidgets import QApplication, QWidget

from app.alerts.chime import ChimeSettings, Player, Sound, output_names
from app.alerts.chime_schedule import Scheduler
from app.alerts.desktop_alerts import DesktopAlerts
from app.models.alarm_card import Card
from app.models.break_words import LONG_BREAK_S, reminders
from app.style import wording
from engine.model.safe_text import without_numbers
from engine.model.snapshot import LogState, Snapshot

COMPUTER_S: Final = 600.0
"""What is about to fail of the computer itself sounds at most this often. Ours."""


class Alerts(QObject):
    """Says by sound and on the desktop what is new and urgent.

    `problem` carries one line when no chime could be played; `answered` what the audio thread
    found out, with the function that takes it, so that it runs on the window's thread.
    """

    problem = Signal(str)
    answered = Signal(object, object)

    def __init__(
        self,
        window: QWidget,
        settings: ChimeSettings,
        player: Player | None = None,
        clock: Callable[[], float] = time.monotonic,
        desktop: DesktopAlerts | None = None,
    ) -> None:
        super().__init__(window)
        self.desktop = desktop or DesktopAlerts(window)
        self.settings = settings
        self.scheduler = Scheduler()
        self.player = player or Player(self.problem.emit)
        self.answered.connect(lambda take, result: take(result))
        self._window, self._clock = window, clock
        self._log_problem = self._ended = False
        self.remind_s = LONG_BREAK_S
        self._reminded = 0
        self._computer_kinds: set[str] = set()
        self._computer_at_s = -math.inf

    def start(self, icon: QIcon) -> None:
        """Begin anew with a watch."""
        self.scheduler = Scheduler()
        self._reminded = 0
        self._ended = False
        self.desktop.start(icon)

    def show_snapshot(self, snapshot: Snapshot, cards: Sequence[Card]) -> None:
        """Sound and show what is new in it; a take that has ended needs nobody any more."""
        if self._ended:
            return
        self._ended = snapshot.ended
        due = self.scheduler.due(self._clock(), snapshot.alarms, snapshot.events)
        self._play(due)
        self._show_log(snapshot.log)
        self._show_computer(snapshot.computer)
        self._remind(snapshot)
        self.desktop.show_cards(cards)

    def show_silence(self) -> None:
        """Sound while the engine does not answer: nobody is watching then."""
        self._play(self.scheduler.due_unwatched(self._clock()))
        QApplication.alert(self._window)

    def show_stopped(self) -> None:
        """Sound at once: the engine is gone."""
        self._play(self.scheduler.due_once(self._clock(), Sound.RED))
        self.desktop.alert_unwatched("The engine is gone.")

    def _show_log(self, log: LogState | None) -> None:
        """Sound once when the log can't be saved any more."""
        problem = log is not None and bool(log.problem)
        if problem and not self._log_problem:
            self._play(self.scheduler.due_once(self._clock(), Sound.AMBER))
        self._log_problem = problem

    def _show_computer(self, lines: Sequence[str]) -> None:
        """Sound when something else of the computer is about to fail, but seldom."""
        kinds = {without_numbers(line) for line in lines}
        self._computer_kinds &= kinds
        now_s = self._clock()
        if kinds - self._computer_kinds and now_s - self._computer_at_s >= COMPUTER_S:
            self._computer_kinds, self._computer_at_s = kinds, now_s
            self._play(self.scheduler.due_once(now_s, Sound.AMBER))

    def _remind(self, snapshot: Snapshot) -> None:
        """Sound now and then in a break that has become long."""
        due = reminders(snapshot.desk, snapshot.now_s, self.remind_s)
        if due > self._reminded:
            self._play(self.scheduler.due_once(self._clock(), Sound.AMBER))
        self._reminded = due

    def _play(self, due: Sound | None) -> None:
        if due is not None and self.settings.on and self.settings.confirmed:
            self.player.play(due, self.settings)

    def test(self, sound: Sound) -> None:
        """Sound a chime whether it is on or not."""
        self.player.play(sound, self.settings)

    def toggle_quiet(self) -> None:
        """Quiet for two minutes, or the end of it."""
        now_s = self._clock()
        if self.scheduler.quiet_for(now_s) > 0:
            self.scheduler.quiet(now_s, 0.0)
        else:
            self.scheduler.quiet(now_s)

    def words(self) -> str:
        """State of the chime for the footer; a silenced one always shows."""
        left = self.scheduler.quiet_for(self._clock())
        if not self.settings.on:
            return "Chime: OFF"
        if left > 0:
            return f"Chime: QUIET {wording.lasted(left + 0.999)}"
        if not self.settings.confirmed:
            return "Chime: NOT CONFIRMED"
        output = self.settings.output or "default output"
        return f"Chime: {output[:28]}"

    def mark(self) -> str:
        """Why nothing is heard, in words that nobody overlooks; empty while chimes sound."""
        left = self.scheduler.quiet_for(self._clock())
        if not self.settings.on:
            return "CHIME OFF"
        if not self.settings.confirmed:
            return "CHIME SILENT: C"
        return f"QUIET {wording.lasted(left + 0.999)}" if left > 0 else ""

    def find_outputs(self, take: Callable[[Sequence[str]], None]) -> None:
        """Find the outputs without holding up the window."""
        self.ask_audio(output_names, take)

    def ask_audio(self, work: Callable[[], object], take: Callable[..., None]) -> None:
        """Ask the audio system on the thread that plays, and nothing else: it can't do two things
        at once. The result is handed to `take` on the window's thread."""
        self.player.ask(work, lambda result: self.answered.emit(take, result))

    def close(self) -> None:
        """Let go of the desktop and the thread."""
        self.player.close()
        self.desktop.close()
