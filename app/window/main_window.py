"""The window: puts pages, keys, bridge and alerts together. No logic of its own."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent
from PySide6.QtWidgets import QMainWindow, QStackedWidget

from app.alerts.alerts import Alerts
from app.alerts.chime import ChimeSettings, Player
from app.controllers import report_controller
from app.controllers.closing import Closing
from app.controllers.crew_actions import CrewActions
from app.controllers.drill_controller import DrillController
from app.controllers.glance_controller import GlanceController
from app.controllers.headphones import Headphones
from app.controllers.line_check_controller import LineCheckController
from app.controllers.opening import Opening
from app.controllers.overlays import Overlays
from app.controllers.plan_live import LivePlan
from app.controllers.plan_new import NewPlan
from app.controllers.report_controller import ReportController
from app.models.fix_cards import Card
from app.style import state_shapes, theme, wording
from app.views.start_page import Input, StartPage, is_plan
from app.views.watch_page import WatchPage
from app.views.widgets.overlay import Layer
from app.window.bridge import Bridge
from app.window.preferences import Choices, Preferences
from app.window.shortcuts import Shortcuts, acts_of
from engine.model.commands import Open, Watch
from engine.model.messages import Snapshot
from engine.sources.base import SourceError

FIRST_SIZE = QSize(1440, 900)
"""Of the window where it was never placed, as far as the screen allows."""

LEAST_SIZE = QSize(960, 560)


class MainWindow(QMainWindow):
    """`inputs` finds the live inputs; it is called on the audio thread."""

    def __init__(
        self,
        bridge: Bridge,
        prefs: Preferences,
        inputs: Callable[[], Sequence[Input]] = tuple,
        player: Player | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        self.bridge, self.prefs, self._inputs = bridge, prefs, inputs
        self.look = theme.LOOKS.get(prefs.look, theme.NIGHT)
        self._scale = 0.0
        self._live = self._on_board = False
        self.setWindowTitle("trackwarden")
        self.setWindowIcon(state_shapes.window_icon())
        self.setMinimumSize(LEAST_SIZE)
        self.setAcceptDrops(True)
        self.start_page, self.watch_page = StartPage(), WatchPage(self.look)
        self.glances = GlanceController(self.look, prefs, self)
        self.pages = QStackedWidget()
        for page in (self.start_page, self.watch_page, self.glances.page):
            self.pages.addWidget(page)
        self.setCentralWidget(self.pages)
        self.alerts = Alerts(self, prefs.chime, player, clock)
        self.layer = Layer(self.pages)
        self.acts = CrewActions(bridge, self.watch_page, self.layer, self.pages, prefs.choices)
        self.overlays = Overlays(self)
        self.headphones = Headphones(bridge, prefs, self.watch_page, self.layer, self.alerts)
        self.line_checks = LineCheckController(bridge, self.watch_page, self.layer)
        self.plans, self.first_plans = LivePlan(self), NewPlan(self)
        self.leaving = Closing(self)
        self.reports, self.openings = ReportController(self), Opening(self)
        self.drills = DrillController(
            bridge, self.watch_page, self.layer, self.alerts, lambda: self.look
        )
        acts = acts_of(self)
        self._keys = [
            Shortcuts(window, acts, lambda: self.watching, lambda: self.layer.covers)
            for window in (self, self.glances.window)
        ]
        self._connect()
        self._set_choices(prefs.choices)
        self.resize(FIRST_SIZE.boundedTo(self.screen().availableSize()))
        if prefs.place("window").size():
            self.restoreGeometry(prefs.place("window"))
        self.start_page.set_recent(prefs.recent)

    def _refresh_keys(self) -> None:
        for keys in self._keys:
            keys.refresh()

    def _keep_focus(self, covered: bool) -> None:
        """Give the keys back to board or list once nothing lies over them."""
        page = self.watch_page
        if covered:
            self._on_board = page.board.hasFocus()
        elif self.watching:
            page.board.setFocus()
            if not self._on_board:
                page.fix_list.setFocus()

    def _connect(self) -> None:
        bridge, page = self.bridge, self.watch_page
        bridge.opening.connect(self.start_page.show_progress)
        bridge.started.connect(self._started)
        bridge.started.connect(self.plans.start)
        bridge.plan_changed.connect(page.change_plan)
        bridge.plan_changed.connect(self.plans.start)
        bridge.snapshot.connect(self._show_snapshot)
        bridge.ended.connect(self._ended)
        bridge.failed.connect(self._failed)
        bridge.silent.connect(page.footer.show_silence)
        bridge.silent.connect(lambda _s: self._say_silence("The engine does not answer."))
        bridge.silent.connect(lambda _s: self.alerts.show_silence())
        bridge.stopped.connect(self._stopped)
        self.start_page.chosen.connect(self.open)
        self.start_page.line_check_asked.connect(self.line_checks.check_next)
        self.start_page.drill_asked.connect(self._ask_drill)
        self.start_page.inputs_wanted.connect(self.find_inputs)
        self.start_page.report_asked.connect(self.reports.show)
        page.header.report_asked.connect(self.reports.show)
        self.drills.wanted.connect(self.open)
        self.layer.covered.connect(self._refresh_keys)
        self.layer.covered.connect(self._keep_focus)
        self.pages.currentChanged.connect(self._refresh_keys)
        page.header.standby_asked.connect(self.acts.standby)
        page.header.look_asked.connect(self.toggle_look)
        page.footer.chime_asked.connect(self.overlays.show_settings)
        page.fix_list.seen.connect(self.acts.see)
        page.fix_list.shelved.connect(self.acts.shelve)
        page.fix_list.chosen.connect(self._choose_card)
        page.board.track_chosen.connect(self._choose_track)
        page.board.closer_asked.connect(page.look_closer)
        self.alerts.problem.connect(self._chime_problem)

    # Watching

    @property
    def watching(self) -> bool:
        """The board or the glance view is shown."""
        return self.pages.currentWidget() is not self.start_page

    @property
    def is_live(self) -> bool:
        """A live input is being watched."""
        return self._live and self.bridge.running

    def find_inputs(self) -> None:
        """Look for live inputs without holding up the window."""
        self.start_page.set_inputs(None)
        self.alerts.ask(self._look_for_inputs, self.start_page.set_inputs)

    def _look_for_inputs(self) -> Sequence[Input] | str:
        try:
            return self._inputs()
        except SourceError as error:
            return wording.sentence(str(error))

    def warm_up(self) -> None:
        """What the window needs soon but not at once, off its thread: reports, inputs."""
        self.alerts.ask(report_controller.load, lambda _none: None)
        self.find_inputs()

    def open(self, request: Open) -> None:
        """Start watching."""
        for path in (request.plan, request.take):
            if path:
                self.prefs.remember(path)
        self.start_page.set_recent(self.prefs.recent)
        self.start_page.show_progress("")
        self.plans.opened(request)
        self.drills.begin(request)
        self.bridge.open(request)

    def _ask_drill(self) -> None:
        takes = [path for path in self.prefs.recent if not is_plan(path)]
        self.drills.ask(takes, self.start_page.plan)

    def _started(self, watch: Watch) -> None:
        self._live = watch.live
        self.acts.start()
        self.start_page.show_error("")
        self.watch_page.start(watch)
        self.drills.start()
        self.alerts.start(self.windowIcon())
        self.setWindowTitle(f"{watch.plan.title or watch.source} – trackwarden")
        self.pages.setCurrentWidget(self.watch_page)
        self.watch_page.board.setFocus()
        self.watch_page.fix_list.setFocus()

    def _show_snapshot(self, snapshot: Snapshot) -> None:
        snapshot = self.drills.kept_back(snapshot)
        cards = self.watch_page.show_snapshot(snapshot)
        self.drills.show_snapshot(snapshot)
        self.alerts.show_snapshot(snapshot, cards)
        self.headphones.show_snapshot(snapshot)
        self.line_checks.show_snapshot(snapshot)
        self._show_quiet()
        self._show_glance()

    def _show_glance(self) -> None:
        page = self.watch_page
        clock = page.header.clock.text()
        self.glances.show_snapshot(page.plan, page.last, page.cards, clock, self.alerts.mark())

    def _show_quiet(self) -> None:
        self.watch_page.footer.show_chime(self.alerts.words())
        self.watch_page.header.show_quiet(self.alerts.mark())

    def _say_silence(self, words: str) -> None:
        """Nobody watches: every view says so."""
        self.watch_page.show_silence(words)
        self.glances.show_silence(words)

    def _stopped(self, words: str) -> None:
        self._say_silence(words)
        self.alerts.show_stopped()

    def _ended(self) -> None:
        if self.drills.request is None:  # a drill's score comes by itself
            self.watch_page.show_end()

    def _failed(self, words: str) -> None:
        if self.watching:
            self._say_silence(f"{words} Esc: start page")
            self.alerts.show_silence()
        else:
            self.start_page.show_error(words)

    def _chime_problem(self, words: str) -> None:
        told = f"No chime: {words}. C: choose one."
        self.watch_page.footer.say(told, stay=True)

    # What keys and buttons do

    def toggle_quiet(self) -> None:
        """Quiet the chime, or let it sound."""
        self.alerts.toggle_quiet()
        self._show_quiet()

    def toggle_glance(self) -> None:
        """The glance view, or the board again."""
        here = self.pages.currentWidget() is self.glances.page
        self.pages.setCurrentWidget(self.watch_page if here else self.glances.page)
        self._show_glance()

    def toggle_glance_window(self) -> None:
        """The glance view in a window of its own, or none."""
        self.glances.toggle_window()
        self._show_glance()

    def look_closer(self) -> None:
        """A closer look at the chosen track, or the board again."""
        self.watch_page.toggle_closer()
        self.pages.setCurrentWidget(self.watch_page)

    def step(self, by: int) -> None:
        """Move the selection by so many rows."""
        page = self.watch_page
        on_board = page.board.hasFocus() or page.closer_shown
        (page.board if on_board else page.fix_list).step(by)

    def _choose_card(self, card: Card | None) -> None:
        self.watch_page.board.choose(card.tracks if card else ())

    def _choose_track(self, number: int) -> None:
        page = self.watch_page
        page.fix_list.choose_track(number)
        page.board.choose((number,))
        if page.closer_shown:
            page.closer.choose(number)

    # Look, overlays, leaving

    def toggle_look(self) -> None:
        """Night or day."""
        self.set_look(theme.DAY if self.look is theme.NIGHT else theme.NIGHT)

    def set_look(self, look: theme.Look) -> None:
        """This look, from now on."""
        self.look = look
        self.prefs.look = look.name
        self._apply()

    def toggle_full_screen(self) -> None:
        """Full screen or window."""
        self.setWindowState(self.windowState() ^ Qt.WindowState.WindowFullScreen)

    def _apply(self) -> None:
        self.setPalette(theme.palette(self.look))
        self.setStyleSheet(theme.sheet(self.look, self._scale))
        self.watch_page.set_look(self.look, self._scale)
        self.glances.set_look(self.look)
        self.start_page.set_scale(self._scale)

    def resizeEvent(self, event: object) -> None:  # noqa: N802
        """Keep the size of everything in step with the window."""
        super().resizeEvent(event)  # type: ignore[arg-type]
        # In steps, so that dragging an edge does not restyle everything at each pixel.
        scale = round(theme.scale_for(self.width(), self.height()) * 20) / 20
        if scale != self._scale:
            self._scale = scale
            self._apply()
        self.layer.fit()

    def set_chime(self, settings: ChimeSettings) -> None:
        """Sound, or not, like this."""
        self.alerts.settings = self.prefs.chime = settings
        self._show_quiet()

    def set_choices(self, choices: Choices) -> None:
        """Keep to these from now on."""
        self.prefs.choices = choices
        self._set_choices(choices)

    def _set_choices(self, choices: Choices) -> None:
        self.acts.choices = choices
        self.watch_page.fix_list.set_shelve(choices.shelve_min)
        self.alerts.remind_s = self.watch_page.long_break_s = choices.break_min * 60
        self.glances.set_choices(choices)

    def reset(self) -> None:
        """All settings as at first start."""
        self.prefs.reset()
        self.set_look(theme.LOOKS.get(self.prefs.look, theme.NIGHT))
        self.set_chime(self.prefs.chime)
        self._set_choices(self.prefs.choices)

    def to_start(self) -> None:
        """End the watch and show the start page."""
        self.bridge.stop()
        self.setWindowTitle("trackwarden")
        self.glances.window.close()
        self.pages.setCurrentWidget(self.start_page)
        self.find_inputs()

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:  # noqa: N802
        """Takes and plans are welcome."""
        if any(url.isLocalFile() for url in event.mimeData().urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:  # noqa: N802
        """Open what was dropped, unless a live input is being watched."""
        paths = [url.toLocalFile() for url in event.mimeData().urls() if url.isLocalFile()]
        if self.watching and self.is_live:
            self.watch_page.footer.say("Still watching a live input: press Esc first.")
        elif paths:
            self.start_page.open_paths(paths)

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802
        """Ask while watching live; then end everything in good order."""
        if not self.leaving.may_close():
            event.ignore()
            return
        self.bridge.stop()
        self.reports.close()
        self.alerts.close()
        self.prefs.set_place("window", self.saveGeometry())
        self.glances.window.close()
        super().closeEvent(event)
