"""Makes the pictures of README.md: `QT_QPA_PLATFORM=offscreen python -m tests.benchmarks.pictures`.

Real windows on a real engine that plays the demo take; page one of its report by pdftoppm, where
the machine has it. An argument names another folder than `app/pictures`.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from tests.support.checkout import ROOT

SIZE = (1440, 900)
SPEED = 4.0
FAULTS_AT_S = 68.2
"""A receiver's antenna fades, a mic has slipped, hum and a muted pack are over."""
SPEAKS_AT_S = 56.4
PATIENCE_S = 180.0
DRILL_SEEDS = range(7, 40)


class Stage:
    """One window on one watch."""

    def __init__(self, folder: Path, request: object) -> None:
        from engine.runtime.client import EngineClient
        from tests.support.qt import pages

        self.window, _ = pages.make_window(folder, EngineClient, time.monotonic)
        self.window.resize(*SIZE)
        pages.show(self.window)
        self.window.open(request)

    def until(self, holds: Callable[[], bool]) -> bool:
        """Wait for that, or for the end of the take."""
        begun = time.monotonic()
        while not holds():
            QTest.qWait(20)
            last = self.window.watch_page.last
            if time.monotonic() - begun > PATIENCE_S or (last is not None and last.ended):
                return False
        return True

    def until_s(self, at_s: float) -> bool:
        """Wait for that moment of the take."""

        def reached() -> bool:
            last = self.window.watch_page.last
            return last is not None and last.now_s >= at_s

        return self.until(reached)

    def press(self, key: Qt.Key) -> None:
        """One key, and time to answer it."""
        QTest.keyClick(self.window.layer.current if self.window.layer.covers else self.window, key)
        QTest.qWait(250)

    def keep(self, folder: Path, name: str) -> None:
        """A picture of the window."""
        QApplication.processEvents()
        self.window.grab().save(str(folder / f"{name}.png"))
        print(folder / f"{name}.png")

    def close(self) -> None:
        """End the watch, then the window."""
        self.window.bridge.stop()
        self.window.close()
        self.window.deleteLater()


def watched(scratch: Path, folder: Path) -> None:
    """The line check while its third track speaks, then board and glance view with faults."""
    from engine.model.commands import Open

    stage = Stage(scratch, Open(demo=True, speed=SPEED))
    assert stage.until_s(SPEAKS_AT_S - 8.0)
    stage.press(Qt.Key.Key_K)
    for _ in range(2):
        stage.press(Qt.Key.Key_Return)
    assert stage.until_s(SPEAKS_AT_S + 3.0)
    stage.keep(folder, "lines")
    stage.press(Qt.Key.Key_Escape)
    assert stage.until_s(FAULTS_AT_S)
    stage.window.watch_page.footer.say("")
    stage.keep(folder, "board")
    stage.press(Qt.Key.Key_G)
    stage.keep(folder, "glance")
    stage.close()


def drilled(scratch: Path, folder: Path) -> None:
    """A drill of the first seed in which two alarms wait for a name at once."""
    from app.models.fault_words import UNNAMED
    from engine.model.commands import Open

    for seed in DRILL_SEEDS:
        stage = Stage(scratch, Open(demo=True, seed=seed, level="real", speed=SPEED))
        page = stage.window.watch_page

        def two_wait(page: object = page) -> bool:
            waiting = [c for c in page.cards if c.fault == UNNAMED and c.severity is not None]  # type: ignore[attr-defined]
            return len(waiting) > 1 and any(c.severity.word == "red" for c in waiting)

        found = stage.until(two_wait)
        if found:
            stage.keep(folder, "drill")
        stage.close()
        if found:
            return


def reported(scratch: Path, folder: Path) -> None:
    """Page one of the demo take's report, as its PDF has it."""
    if shutil.which("pdftoppm") is None:
        print("no pdftoppm: report.png stays as it is")
        return
    command = [sys.executable, "-m", "app", "scan", "demo", "--report", str(scratch)]
    subprocess.run(command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    pdf = ["pdftoppm", "-r", "80", "-f", "1", "-l", "1", "-singlefile", "-png"]
    subprocess.run([*pdf, scratch / "report.pdf", folder / "report"], check=True)
    print(folder / "report.png")


def main() -> None:
    """All of them."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "app" / "pictures"
    folder.mkdir(exist_ok=True)
    app = QApplication(sys.argv[:1])
    app.setStyle("Fusion")
    with tempfile.TemporaryDirectory() as name:
        os.environ["XDG_DATA_HOME"] = name
        for work in (watched, drilled, reported):
            work(Path(name), folder)


if __name__ == "__main__":
    main()
