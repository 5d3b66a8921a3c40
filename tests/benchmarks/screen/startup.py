"""From the command to the first meter on the board: wall seconds, several runs.

    python -m tests.benchmarks.screen startup [RUNS]

Needs a display, or QT_QPA_PLATFORM=offscreen.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time

_INSIDE = """
import sys, time
from app.controllers.watch_controller import WatchController
shown = WatchController._show_snapshot
def first(self, snapshot):
    shown(self, snapshot)
    self._page.window().repaint()
    print(time.time(), flush=True)
    self._page.window().bridge.stop()
    sys.stdout.close()
    import os
    os._exit(0)
WatchController._show_snapshot = first
from app.cli.main import main
main(["replay", "demo"])
"""


def once() -> float:
    """Seconds from starting the program to the first painted snapshot."""
    began = time.time()
    command = [sys.executable, "-c", _INSIDE]
    out = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False).stdout
    return float(out.split()[-1]) - began


def main() -> None:
    """Run it a few times; the first run may still render the demo take."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    once()
    times = [once() for _ in range(runs)]
    print(
        f"command to first meter: median {statistics.median(times):.2f} s, worst {max(times):.2f}"
    )
