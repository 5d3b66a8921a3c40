"""Shows the pages at the scale factor of this process; prints each word that is cut off.

Run: QT_SCALE_FACTOR=1.5 python -m tests.support.qt.scaled
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")

from PySide6.QtWidgets import QApplication

from app.window.application import application
from tests.app.views import test_screenshots as shots

PAGES = (
    "start",
    "plan_source",
    "plan_new",
    "board64",
    "lines",
    "listening",
    "report-start",
    "told",
    "break",
    "glance",
    "closer",
    "settings",
    "help",
    "battery",
    "history",
)


def main() -> int:
    """Look at every page; returns how many words were cut off."""
    size = application().primaryScreen().availableSize().toTuple()
    cut = 0
    for page in PAGES:
        with tempfile.TemporaryDirectory() as folder:
            window = shots.PAGES[page](Path(folder))
            window.resize(*size)
            window.show()
            for _ in range(3):
                QApplication.processEvents()
                window.bridge.poll()
            if window.size().toTuple() != size:
                print(f"{page}: {window.size().toTuple()} instead of {size}")
                cut += 1
            for words in shots.cut_off(window):
                print(f"{page}: {words}")
                cut += 1
            window.leaving.close_now()
    return cut


if __name__ == "__main__":
    sys.exit(min(main(), 100))
