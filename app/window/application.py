"""Opens the window: the only way into Qt."""

from __future__ import annotations

import gc
import os
import signal
import sys
from collections.abc import Callable, Sequence

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import QApplication

from app.controllers.first_cautions import show_cautions
from app.models.live_input import Input
from app.services.bridge import Bridge, Client
from app.services.one_window import OneWindow
from app.services.preferences import Preferences
from app.window.main_window import MainWindow
from app.window.window_parts import LEAST_SIZE
from engine.model.commands import Open
from engine.sources.input_peaks import InputPeaks

FACTOR = "QT_SCALE_FACTOR"
ROUNDING = 0.995
"""Sides are whole pixels: a little less, so that none is one too many."""
SIGNAL_CHECK_MS = 300
ALREADY = "trackwarden: this is being watched already: its window was raised"
ASKS = "trackwarden: still watching: answer in the window, or press Ctrl+C again to stop watching"
WARM_UP_MS = 100
"""After the first painting."""


def application() -> QApplication:
    """Qt's application. Where the desktop's scale leaves too little room for the window on the
    screen, all is drawn smaller, as far as it takes: at 250 % of a small screen half of it would
    lie outside."""
    app = QApplication(sys.argv[:1])
    room = app.primaryScreen().availableSize()
    fits = min(room.width() / LEAST_SIZE.width(), room.height() / LEAST_SIZE.height())
    if fits < 1.0:
        app.shutdown()  # the factor is read once, as an application begins
        del app
        os.environ[FACTOR] = str(_factor() * fits * ROUNDING)
        app = QApplication(sys.argv[:1])
    app.setApplicationName("trackwarden")
    app.setStyle("Fusion")
    # All words are English: laid out from the right "7 + 8" would be read as 8 + 7. Names written
    # from the right are set apart instead (`wording.isolate`).
    app.setLayoutDirection(Qt.LayoutDirection.LeftToRight)
    return app


def _factor() -> float:
    try:
        return float(os.environ.get(FACTOR, "1"))
    except ValueError:
        return 1.0  # as Qt has it


def _claim(one: OneWindow, bridge: Bridge, app: QApplication) -> None:
    """Where another window shows this watch already, that one is raised and this one ends."""
    if bridge.folder is not None and not one.claim(bridge.folder):
        print(ALREADY, file=sys.stderr)
        bridge.close()
        app.quit()


def _interrupt(window: MainWindow) -> None:
    """Ctrl+C in the terminal: as closing the window, which asks while it watches live."""
    window.leaving.interrupt()
    if window.isVisible():
        window.come_forward()
        print(f"\n{ASKS}", file=sys.stderr, flush=True)


def _load_the_rest(window: MainWindow, bridge: Bridge, *, waits: bool) -> QTimer:
    """Behind the first page, or where a watch was asked for behind its first levels: it would
    take the time from them."""
    timer = QTimer(window, singleShot=True, interval=WARM_UP_MS)

    def begin() -> None:
        gc.freeze()  # what the first page is made of is here to stay
        gc.enable()
        window.warm_up()

    timer.timeout.connect(begin)
    if waits:
        once = Qt.ConnectionType.SingleShotConnection
        bridge.snapshot.connect(timer.start, once)
        bridge.failed.connect(timer.start, once)
    else:
        timer.start()
    return timer


def run_window(
    request: Open | None,
    client_factory: Callable[[Open], Client],
    inputs: Callable[[], Sequence[Input]] = tuple,
    *,
    published: bool = False,
) -> int:
    """Show the window until it is closed; returns the exit code.

    request : what to watch at once; None for the start page
    client_factory : opens a watch without blocking; raises OSError or ValueError with one line
    inputs : finds the live inputs; may take its time, it is called on another thread
    published : the command line has it published already
    """
    app = application()
    bridge = Bridge(client_factory)
    window = MainWindow(bridge, Preferences.of_user(), inputs)
    # Qt's loop is not Python: without a look from time to time Ctrl+C would never be noticed.
    signal.signal(signal.SIGINT, lambda *_: _interrupt(window))
    ticks = QTimer(interval=SIGNAL_CHECK_MS)
    ticks.timeout.connect(lambda: None)
    ticks.start()
    window.start.lights.listen = lambda one: InputPeaks(one.name, one.host_api)
    one = OneWindow(window)
    bridge.started.connect(lambda _watch: _claim(one, bridge, app))
    one.raised.connect(window.come_forward)
    app.aboutToQuit.connect(one.release)
    app.aboutToQuit.connect(bridge.close)
    window.publishing.by_command = published
    window.show()
    if request is not None:
        window.open(request)
        if request.demo or request.seed is not None:
            show_cautions(window.layer, bridge, drill=request.seed is not None)
    _load_the_rest(window, bridge, waits=request is not None)
    code = app.exec()
    window.alerts.close()
    window.background.close()
    return code
