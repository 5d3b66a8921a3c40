"""Qt without a display, and a guard: a test that leaves timers, threads or windows behind fails."""

from __future__ import annotations

import gc
import os
import threading
from collections.abc import Iterator

import pytest
import shiboken6

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")


@pytest.fixture(autouse=True)
def nothing_left(request: pytest.FixtureRequest) -> Iterator[None]:
    """No window, running timer or thread outlives its test; tests without Qt do not pay."""
    if not {"qapp", "qtbot"} & set(request.fixturenames):
        yield
        return
    from PySide6.QtCore import QEvent
    from PySide6.QtWidgets import QApplication

    from app.window.main_window import MainWindow

    app = request.getfixturevalue("qapp")
    before = set(threading.enumerate())
    yield
    for widget in QApplication.topLevelWidgets():
        if isinstance(widget, MainWindow):
            widget.leaving.decided = True
        widget.close()
        widget.deleteLater()
    app.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    app.processEvents()
    assert not [w for w in QApplication.topLevelWidgets() if w.isVisible()]
    if running_timers():
        gc.collect()
    assert not running_timers()
    assert not set(threading.enumerate()) - before


def running_timers() -> list[object]:
    """Timers of ours that still tick."""
    from PySide6.QtCore import QTimer

    timers = [t for t in gc.get_objects() if type(t) is QTimer]
    return [t for t in timers if shiboken6.isValid(t) and t.isActive()]
