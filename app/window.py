"""Opens the window: the only way into Qt."""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Sequence

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication

from app.bridge import Bridge, Client
from app.main_window import MainWindow
from app.prefs import Prefs
from app.start_page import Input
from engine.commands import Open

SIGNAL_CHECK_MS = 300
WARM_UP_MS = 100
"""After the first painting."""


def run_window(
    request: Open | None,
    client_factory: Callable[[Open], Client],
    inputs: Callable[[], Sequence[Input]] = tuple,
) -> int:
    """Show the window until it is closed; returns the exit code.

    request : what to watch at once; None for the start page
    client_factory : opens a watch without blocking; raises OSError or ValueError with one line
    inputs : finds the live inputs; may take its time, it is called on another thread
    """
    app = QApplication(sys.argv[:1])
    app.setApplicationName("trackwarden")
    app.setStyle("Fusion")
    bridge = Bridge(client_factory)
    window = MainWindow(bridge, Prefs.of_user(), inputs)
    # Qt's loop is not Python: without a look from time to time Ctrl+C would never be noticed.
    signal.signal(signal.SIGINT, lambda *_: app.quit())
    ticks = QTimer(interval=SIGNAL_CHECK_MS)
    ticks.timeout.connect(lambda: None)
    ticks.start()
    app.aboutToQuit.connect(bridge.close)
    window.show()
    if request is not None:
        window.open(request)
    QTimer.singleShot(WARM_UP_MS, window.warm_up)
    code = app.exec()
    window.alerts.close()
    return code
