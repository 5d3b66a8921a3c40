"""What the window costs: share of one core at 20 snapshots a second, and time to the first paint.

Run: python -m tests.benchmarks.screen cost [seconds]
Offscreen by itself; under a display (or xvfb-run) with QT_QPA_PLATFORM=xcb.
Prints one line a case; exits 1 where a bound is missed.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from itertools import product
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtCore import QEventLoop, QTimer
from PySide6.QtWidgets import QApplication

from app.views.board.board import Board
from app.window.main_window import MainWindow
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan
from engine.runtime.runner import PUBLISH_S
from tests.support.qt import fake_client, pages

BOUNDS = {16: 0.20, 64: 0.40}
"""Tracks, and the share of one core that the window may take."""
FIRST_PAINT_S = 1.2
STEPS = 200


def script(plan: Plan) -> Callable[[int], Snapshot | None]:
    """Ten seconds of snapshots made beforehand, so that only the window is measured.

    As often as an engine sends them, though a window asks more than twice as often.
    """
    alarms, times = fake_client.many_alarms(plan), [n * PUBLISH_S for n in range(STEPS)]
    made = [fake_client.snapshot(plan, alarms, fake_client.NOW_S + at_s) for at_s in times]
    began_s, newest = time.monotonic(), -1

    def latest(_call: int) -> Snapshot | None:
        nonlocal newest
        before, newest = newest, int((time.monotonic() - began_s) / PUBLISH_S)
        return None if newest == before else made[newest % STEPS]

    return latest


def as_it_is(_window: MainWindow) -> None:
    """The board alone."""


def with_glance(window: MainWindow) -> None:
    """The board, and the glance view in a window of its own."""
    window.navigation.toggle_glance_window()


def closer(window: MainWindow) -> None:
    """A closer look at one track instead of the board."""
    window.watch_page.board.track_chosen.emit(3)
    window.navigation.look_closer()


def share_of_core(
    tracks: int, seconds: float, opened: Callable[[MainWindow], None]
) -> tuple[float, float]:
    """Processor seconds a second, and paintings of the board a second."""
    plan = fake_client.large_plan(tracks)
    client = fake_client.FakeClient(fake_client.watch(plan), script(plan))
    with tempfile.TemporaryDirectory() as folder:
        window, _ = pages.make_window(Path(folder), fake_client.factory_of(client), time.monotonic)
        window.resize(1440, 900)
        pages.show(window)
        painted = [0]
        paint = Board.paintEvent

        def counted(board: Board, event: object) -> None:
            painted[0] += 1
            paint(board, event)

        Board.paintEvent = counted  # type: ignore[method-assign, assignment]
        window.open(fake_client.Open(device=0))
        _run(0.5)
        opened(window)
        _run(1.0)
        painted[0] = 0
        cpu_s, wall_s = time.process_time(), time.monotonic()
        _run(seconds)
        cpu_s, wall_s = time.process_time() - cpu_s, time.monotonic() - wall_s
        Board.paintEvent = paint  # type: ignore[method-assign]
        window.leaving.close_now()
    return cpu_s / wall_s, painted[0] / wall_s


def _run(seconds: float) -> None:
    loop = QEventLoop()
    QTimer.singleShot(round(seconds * 1000), loop.quit)
    loop.exec()


FIRST_PAINT = """
from app.window import application as w
from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication
def client(_request):
    raise OSError("no watch")
made = w.application
def application():
    app = made()
    QTimer.singleShot(0, lambda: QTimer.singleShot(0, QApplication.quit))
    return app
w.application = application
w.run_window(None, client)
"""


def first_paint_s() -> float:
    """Wall time of a process that shows the start page once and leaves."""
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        settings = {**os.environ, "XDG_CONFIG_HOME": folder}
        subprocess.run([sys.executable, "-c", FIRST_PAINT], check=True, env=settings)
    return time.monotonic() - began


def main() -> int:
    """Measure, print, judge."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    missed = False
    app = QApplication([])
    app.setStyle("Fusion")
    print(f"window on {app.platformName()}, {seconds:g} s a case, two-minute ribbons, faults")
    for (tracks, bound), opened in product(BOUNDS.items(), (as_it_is, with_glance, closer)):
        share, rate = share_of_core(tracks, seconds, opened)
        missed |= share > bound or (rate < 19.0 and opened is not closer)
        told = f"{share:6.1%} of a core (bound {bound:.0%})  {rate:.1f} paints of the board/s"
        print(f"{tracks:3} tracks  {opened.__name__:12} {told}")
    best_s = min(first_paint_s() for _ in range(3))
    missed |= best_s > FIRST_PAINT_S
    print(f"process start to start page and out again: {best_s:.2f} s (bound {FIRST_PAINT_S} s)")
    return int(missed)
