"""What the window is made of: pages, alerts, and the controllers that join them to the watch."""

from __future__ import annotations

import time
from collections.abc import Callable

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import QMainWindow, QVBoxLayout, QWidget

from app.alerts.alerts import Alerts
from app.alerts.chime import Player
from app.alerts.desktop_alerts import DesktopAlerts
from app.controllers import report_controller
from app.controllers.closing import Closing
from app.controllers.crew_actions import CrewActions
from app.controllers.drill_controller import DrillController
from app.controllers.glance_controller import GlanceController
from app.controllers.headphones import Headphones
from app.controllers.history_controller import HistoryController
from app.controllers.line_check_controller import LineCheckController
from app.controllers.navigation import Navigation
from app.controllers.opening import Opening
from app.controllers.overview_controller import OverviewController
from app.controllers.plan_live import LivePlan
from app.controllers.plan_new import NewPlan
from app.controllers.publish_controller import PublishController
from app.controllers.report_controller import Occasion, ReportController
from app.controllers.round_controller import RoundController
from app.controllers.session_controller import SessionController
from app.controllers.settings_controller import SettingsController
from app.controllers.share_controller import ShareController
from app.controllers.start_controller import FindInputs, StartController
from app.controllers.verify_controller import VerifyController
from app.controllers.watch_controller import WatchController
from app.services.background import Background
from app.services.bridge import Bridge
from app.services.preferences import Preferences
from app.style import state_shapes, theme
from app.views.alarm_strip import AlarmStrip
from app.views.start_page import StartPage
from app.views.watch_page import WatchPage
from app.views.widgets.overlay import Layer

LEAST_SIZE = QSize(960, 560)


class WindowParts(QMainWindow):
    """Makes them and lays them out; `MainWindow` joins them and gives them life.

    `inputs` finds the live inputs; it is called on the audio thread.
    """

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
        super().__init__()
        self.bridge, self.prefs = bridge, prefs
        self.look = theme.look_of(prefs.look)
        self._scale, self._live, self._clock = 0.0, False, clock
        self.setWindowTitle("trackwarden")
        self.setWindowIcon(state_shapes.window_icon())
        self.setMinimumSize(LEAST_SIZE)
        self.setAcceptDrops(True)
        self.background = background or Background(self)
        self.start_page, self.watch_page = StartPage(), WatchPage(self.look)
        self.glances = GlanceController(self.look, prefs, self)
        self.navigation = Navigation(self.start_page, self.watch_page, self.glances)
        self.pages = self.navigation.pages
        self.strip = AlarmStrip(self.look)
        self.setCentralWidget(self._stack())
        self.alerts = Alerts(self, prefs.chime, player, clock, desktop(self))
        self.alerts.desktop.on = prefs.desktop_alerts
        self.alerts.desktop.clicked.connect(self.navigation.choose_track)
        self.layer = Layer(self.pages)
        self._make_controllers(inputs)

    def _stack(self) -> QWidget:
        """The alarms over every page and prompt, and the state of the watch below."""
        middle = QWidget()
        middle.setObjectName("page")
        column = QVBoxLayout(middle)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.strip)
        column.addWidget(self.pages, 1)
        column.addWidget(self.watch_page.footer)
        return middle

    def _make_controllers(self, inputs: FindInputs) -> None:
        bridge, page, layer, prefs = self.bridge, self.watch_page, self.layer, self.prefs
        background = self.background
        self.watch = WatchController(bridge, page, self.alerts, self.glances)
        self.start = StartController(self.start_page, bridge, prefs, self.alerts)
        self.start.inputs = inputs
        self.acts = CrewActions(bridge, page, layer)
        self.settings = SettingsController(layer, prefs, self.alerts)
        self.headphones = Headphones(bridge, prefs, page, layer)
        self.rounds = RoundController(bridge, prefs, self.headphones, layer)
        self.line_checks = LineCheckController(bridge, page, layer)
        self.plans = LivePlan(bridge, page, layer, prefs)
        self.first_plans = NewPlan(self.start_page, layer, prefs, background)
        self.drills = DrillController(bridge, page, layer, background)
        self.history = HistoryController(bridge, page, layer, lambda: self.drills.secret)
        self.sessions = SessionController(
            layer, background, lambda: self.bridge.folder, lambda: self.drills.secret
        )
        self.verifying = VerifyController(
            layer, background, prefs, lambda: self.bridge.folder, lambda: self.drills.secret
        )
        self.reports = ReportController(layer, prefs, background, self._occasion)
        self.opening = Opening(bridge, layer)
        self.sharing = ShareController(bridge, layer, background, prefs)
        self.publishing = PublishController(bridge, layer, prefs, background)
        self.overview = OverviewController(layer, prefs, background, self)
        self.leaving = Closing(
            layer,
            lambda: self.is_live,
            (
                layer.hide_first,
                self.headphones.stop_first,
                self.navigation.leave_glance,
                self.navigation.leave_closer,
                self.drills.end_first,
                self._leave_full_screen,
            ),
        )

        self.leaving.unsaved = lambda: self.watching and self.plans.unsaved
        self.leaving.save = self.plans.save_in_use

    @property
    def watching(self) -> bool:
        """The board or the glance view is shown."""
        return self.navigation.watching

    @property
    def is_live(self) -> bool:
        """A live input is being watched."""
        return self._live and self.bridge.running

    def _occasion(self) -> Occasion:
        """What a report can be of now."""
        if not self.watching:
            return Occasion(plan=self.start_page.plan)
        return report_controller.of_session(self.bridge, self.watch_page, self.drills.secret)

    def toggle_full_screen(self) -> None:
        """Full screen or window."""
        self.setWindowState(self.windowState() ^ Qt.WindowState.WindowFullScreen)

    def _leave_full_screen(self) -> bool:
        """From the start page alone: the board may well be left by the same key."""
        if self.watching:
            return False
        if self.isFullScreen():
            self.toggle_full_screen()
        return True
