"""The window: puts pages, keys, bridge and alerts together. No logic of its own."""

from __future__ import annotations

import time
from collections.abc import Callable

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent, QKeyEvent
from PySide6.QtWidgets import QWidget

from app.alerts.chime import Player
from app.alerts.desktop_alerts import DesktopAlerts
from app.controllers import plan_live, report_controller
from app.controllers.opening import CANCELLED
from app.controllers.start_controller import FindInputs
from app.models.choices import Choices
from app.models.key_bindings import Act
from app.services.background import Background
from app.services.bridge import Bridge
from app.services.preferences import Preferences
from app.style import theme
from app.window.shortcuts import Shortcuts, acts_of
from app.window.window_parts import WindowParts
from engine.model.commands import Open, Watch
from engine.session.folders import not_kept

FIRST_SIZE = QSize(1440, 900)
"""Of the window where it was never placed, as far as the screen allows."""

FRAME = QSize(16, 48)
"""Room for what a window manager draws around it; ours, ample for title bars in use."""


class MainWindow(WindowParts):
    """`inputs` finds the live inputs; it is called on the audio thread."""

    def __init__(
        self,
        bridge: Bridge,
        prefs: Preferences,
        inputs: FindInputs = tuple,
        player: Player | None = None,
        clock: Callable[[], float] = time.monotonic,
        background: Background | None = None,
        desktop: Callable[[QWidget], DesktopAlerts] = DesktopAlerts,
    ) -> None:
        super().__init__(bridge, prefs, inputs, player, clock, background, desktop)
        acts = {
            **acts_of(self.acts, self.watch, self.navigation, self.settings, self.history),
            **acts_of(self.headphones, self.rounds, self.line_checks, self.plans, self.reports),
            **acts_of(self.sessions, self.sharing, self.overview, self.verifying),
            Act.SEEN_WORST: self._see_worst,
            Act.FULL_SCREEN: self.toggle_full_screen,
            Act.BACK: self.leaving.back,
        }
        self._keys = [
            Shortcuts(window, acts, lambda: self.watching, lambda: self.layer.covers)
            for window in (self, self.glances.window)
        ]
        self._connect_watch()
        self._connect_pages()
        self._set_choices(prefs.choices)
        self._refresh_keys()
        self.resize(FIRST_SIZE.boundedTo(self.screen().availableSize() - FRAME))
        if prefs.place("window").size():
            self.restoreGeometry(prefs.place("window"))

    def _connect_watch(self) -> None:
        bridge, watch = self.bridge, self.watch
        bridge.started.connect(self._started)
        bridge.started.connect(self.plans.begin)
        bridge.plan_changed.connect(self.plans.start)
        bridge.ended.connect(self._ended)
        bridge.failed.connect(self._failed)
        watch.redact = self.drills.redact
        watch.followers = (
            lambda _snapshot: self.strip.put(self.watch_page.cards),
            self.history.show_snapshot,
            self.drills.show_snapshot,
            self.headphones.show_snapshot,
            self.rounds.show_snapshot,
            self.line_checks.show_snapshot,
        )
        self.start.opening.connect(self.plans.opened)
        self.start.opening.connect(self.drills.begin)
        self.drills.wanted.connect(self.open)
        self.opening.given_up.connect(self._give_up_opening)
        self.leaving.left.connect(self.to_start)
        self.leaving.close_wanted.connect(self.close)
        self.leaving.detached.connect(bridge.close)

    def _connect_pages(self) -> None:
        start, page = self.start_page, self.watch_page
        start.line_check_asked.connect(self.line_checks.check_next)
        start.drill_asked.connect(
            lambda: self.drills.ask(self.start.recent_takes(), self.start_page.plan)
        )
        start.report_asked.connect(self.reports.show)
        start.session_asked.connect(self.sessions.show)
        self.sessions.replay_asked.connect(self.open)
        self.sessions.refused.connect(page.footer.say)
        self.verifying.refused.connect(page.footer.say)
        start.verify_asked.connect(self.verifying.show)
        start.overview_asked.connect(self.overview.show)
        page.header.report_asked.connect(self.reports.show)
        page.header.standby_asked.connect(self.acts.standby)
        page.header.look_asked.connect(self.settings.toggle_look)
        page.footer.alerts_asked.connect(self.settings.show_settings)
        page.footer.chime_asked.connect(self.settings.show_settings)
        page.fix_list.seen.connect(self.acts.see)
        page.fix_list.shelved.connect(self.acts.shelve)
        self.strip.seen.connect(self.acts.see)
        self.layer.covered.connect(self._refresh_keys)
        self.layer.covered.connect(self.navigation.keep_focus)
        self.pages.currentChanged.connect(self._refresh_keys)
        self.navigation.glance_shown.connect(self.watch.show_glance)
        self.settings.chime_changed.connect(self.watch.show_quiet)
        self.settings.choices_changed.connect(self._set_choices)
        self.settings.look_changed.connect(self._set_look)
        self.settings.publish_asked.connect(self.publishing.show)
        self.headphones.outputs_wanted.connect(
            lambda: self.alerts.find_outputs(self.headphones.offer)
        )
        self.reports.said.connect(self._say)
        self.background.failed.connect(self._say)

    def _refresh_keys(self) -> None:
        self.watch_page.footer.setVisible(self.watching)
        self.strip.setVisible(self.watching and self.layer.covers)
        for keys in self._keys:
            keys.refresh()

    def _say(self, words: str) -> None:
        """A line that stays, on whichever page is shown."""
        self.watch_page.footer.say(words, stay=True)
        if not self.watching:
            self.start_page.show_progress(words)

    def _see_worst(self) -> None:
        """Acknowledge the worst alarm, on whichever page."""
        card = self.strip.worst
        if card is not None:
            self.acts.see(card)

    # Watching

    def warm_up(self) -> None:
        """What the window needs soon but not at once, off its thread: plans, reports, inputs."""
        for load in (plan_live.load, report_controller.load):
            self.background.ask(load, lambda _none: None)
        self.start.find_inputs()

    def open(self, request: Open) -> None:
        """Start watching."""
        self.start.open(request)

    def _started(self, watch: Watch) -> None:
        self._live = watch.live
        self.acts.start()
        self.start_page.show_error("")
        self.watch_page.start(watch)
        self.drills.start()
        self.watch.unkept = not_kept()
        self.alerts.desktop.drill = self.drills.request is not None
        self.alerts.start(self.windowIcon())
        drill = "DRILL · " if self.drills.request is not None else ""
        self.setWindowTitle(f"{drill}{watch.plan.title or watch.source} – trackwarden")
        self.navigation.show_board()

    def _ended(self) -> None:
        if self.drills.request is None:  # a drill's score comes by itself
            self.watch_page.show_end()

    def _failed(self, words: str) -> None:
        if self.watching:
            self.watch.break_off(f"{words} Esc: start page")
        else:
            self.start_page.show_error(words)

    def _give_up_opening(self) -> None:
        if self.watching:
            self.to_start()
        self.start_page.show_progress(CANCELLED)

    def to_start(self) -> None:
        """End the watch and show the start page."""
        self.bridge.stop()
        self.alerts.desktop.clear()
        self.setWindowTitle("trackwarden")
        self.glances.window.close()
        self.navigation.show_start()
        self.start.find_inputs()

    # Look and size

    def _set_look(self, look: theme.Look) -> None:
        self.look = look
        self._apply()

    def come_forward(self) -> None:
        """Before all other windows."""
        self.setWindowState(self.windowState() & ~Qt.WindowState.WindowMinimized)
        self.show()
        self.raise_()
        self.activateWindow()

    def _apply(self) -> None:
        self.setPalette(theme.palette(self.look))
        self.setStyleSheet(theme.sheet(self.look, self._scale))
        self.watch_page.set_look(self.look, self._scale)
        self.sessions.look = self.look
        self.layer.set_look(self.look)
        self.overview.set_look(self.look)
        self.verifying.set_look(self.look)
        self.strip.set_look(self.look, self._scale)
        self.glances.set_look(self.look)
        self.start_page.set_look(self.look, self._scale)

    def resizeEvent(self, event: object) -> None:  # noqa: N802
        """Keep the size of everything in step with the window."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        # In steps, so that dragging an edge does not restyle everything at each pixel.
        self._fit_scale()

    def _fit_scale(self) -> None:
        usual = theme.scale_for(self.width(), self.height())
        scale = round(usual * self.prefs.choices.text_percent / 100.0 * 20) / 20
        if scale != self._scale:
            self._scale = scale
            self._apply()

    def _set_choices(self, choices: Choices) -> None:
        self.acts.choices = choices
        self._fit_scale()
        self.watch_page.fix_list.set_shelve(choices.shelve_min)
        self.alerts.remind_s = self.watch_page.long_break_s = choices.break_min * 60
        self.glances.set_choices(choices)

    # Files dropped, closing

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        """Digits that no page wanted choose a track."""
        if event.text().isdecimal() and self.watching and not self.layer.covers:
            self.navigation.type_digit(event.text(), self._clock())
        else:
            super().keyPressEvent(event)

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:  # noqa: N802
        """Takes and plans are welcome."""
        if any(url.isLocalFile() for url in event.mimeData().urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:  # noqa: N802
        """Open what was dropped, unless a live input is being watched."""
        paths = [url.toLocalFile() for url in event.mimeData().urls() if url.isLocalFile()]
        if self.verifying.take_in(paths):
            return
        if self.watching and self.is_live:
            self.watch_page.footer.say("Still watching a live input: press Esc first.")
        elif paths:
            self.start_page.open_paths(paths)

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802
        """Ask while watching live; then end everything in good order."""
        if not self.leaving.may_close() or self.drills.end_first():
            event.ignore()
            return
        self.bridge.stop()
        self.start.lights.stop()
        self.reports.close()
        self.overview.close()
        self.verifying.close()
        self.alerts.close()
        self.background.close()
        self.prefs.set_place("window", self.saveGeometry())
        self.glances.window.close()
        super().closeEvent(event)
