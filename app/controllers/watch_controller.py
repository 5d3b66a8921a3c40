"""What a watch shows and sounds: each snapshot to all that follow it, and that nobody watches."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Sequence
from functools import partial

from PySide6.QtCore import QObject

from app.alerts.alerts import Alerts
from app.controllers.glance_controller import GlanceController
from app.models.alarm_card import Trouble
from app.models.key_bindings import Act
from app.services.bridge import Bridge
from app.views.watch_page import WatchPage
from engine.detectors.guard import reason_of
from engine.model.snapshot import Snapshot

Follower = Callable[[Snapshot], None]


class WatchController(QObject):
    """Joins bridge, page, alerts and glance views.

    `redact` makes of each snapshot the one that the crew may see (a drill keeps something back);
    `followers` get it after the page.
    """

    def __init__(
        self, bridge: Bridge, page: WatchPage, alerts: Alerts, glances: GlanceController
    ) -> None:
        super().__init__(page)
        self._page, self._alerts, self._glances = page, alerts, glances
        self.redact: Callable[[Snapshot], Snapshot] = lambda snapshot: snapshot
        self.followers: Sequence[Follower] = ()
        self._chime_words = self.unkept = ""
        self._broken: dict[str, str] = {}
        bridge.snapshot.connect(self._show_snapshot)
        bridge.silent.connect(page.footer.show_silence)
        bridge.silent.connect(lambda _seconds: self.break_off("The engine does not answer."))
        bridge.stopped.connect(self._stopped)
        bridge.plan_changed.connect(page.change_plan)
        alerts.problem.connect(self._chime_problem)

    def acts(self) -> dict[Act, Callable[[], None]]:
        """What the key of the chime does."""
        return {Act.QUIET: self.toggle_quiet}

    def _show_snapshot(self, snapshot: Snapshot) -> None:
        snapshot = self.redact(snapshot)
        self._page.troubles = self._troubles()
        self._try("The board", lambda: self._page.show_snapshot(snapshot))
        self._try("The chime", lambda: self._alerts.show_snapshot(snapshot, self._page.cards))
        for number, follow in enumerate(self.followers, start=1):
            self._try(f"Page {number}", partial(follow, snapshot))
        self._try("The state of the chime", self.show_quiet)
        self._try("The glance view", self.show_glance)

    def _try(self, name: str, do: Callable[[], object]) -> None:
        """One part of the window that raises must not keep the others from showing and sounding."""
        try:
            do()
        except Exception as error:
            if name not in self._broken:  # once for each failure, not with each snapshot
                traceback.print_exc()
            self._broken[name] = reason_of(error)
        else:
            self._broken.pop(name, None)

    def _troubles(self) -> tuple[Trouble, ...]:
        """What is wrong with the alerting, where it is wanted."""
        desktop, made = self._alerts.desktop, []
        if desktop.on and desktop.problem:
            check = "Nobody is alerted outside this window: keep it in sight, or glance view (G)."
            made.append(Trouble("Desktop alerts", "Do not work.", check, desktop.problem))
        if self.unkept:
            check = "Give back the right to write there; the report of this session now."
            made.append(Trouble("Session log", "Not kept for good.", check, self.unkept))
        if self._chime_words:
            check = "C: choose another output, and hear it once."
            made.append(Trouble("Chime", "Does not sound.", check, self._chime_words))
        check = "The watch, its log and the other parts go on. Close this window, open it again."
        made += [Trouble(name, "Fails.", check, why) for name, why in self._broken.items()]
        return tuple(made)

    def show_glance(self) -> None:
        """Bring the glance views up to date."""
        page = self._page
        clock = page.header.clock.text()
        self._glances.show_snapshot(page.plan, page.last, page.cards, clock, self._alerts.mark())

    def show_quiet(self) -> None:
        """Say whether chimes sound."""
        self._page.footer.show_chime(self._alerts.words())
        self._page.footer.show_alerts(self._alerts.desktop.words())
        self._page.header.show_quiet(self._alerts.mark())

    def toggle_quiet(self) -> None:
        """Quiet the chime, or let it sound."""
        self._alerts.toggle_quiet()
        self.show_quiet()

    def break_off(self, words: str) -> None:
        """Nobody watches: every view says so, and it sounds like a red."""
        self._say_unwatched(words)
        self._alerts.show_silence()

    def _stopped(self, words: str) -> None:
        self._say_unwatched(words)
        self._alerts.show_stopped()

    def _say_unwatched(self, words: str) -> None:
        self._page.show_silence(words)
        self._glances.show_silence(words)

    def _chime_problem(self, words: str) -> None:
        self._chime_words = words
        self._page.footer.say(f"No chime: {words}. C: choose one.", stay=True)
