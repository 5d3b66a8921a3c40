"""From the command to the first meter on the board: wall seconds, and how busy the window was.

    python -m tests.benchmarks.screen startup [RUNS]

Needs a display, or QT_QPA_PLATFORM=offscreen. As installed, with bytecode kept from run to run.
The processor time is the window's own, up to its first meter; the engine opens the take meanwhile,
on another core. Where other programs run, compare that: the wall time is theirs as well.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import tempfile
import time

_INSIDE = """
import time
from app.cli import main as command

def look():
    from app.controllers.watch_controller import WatchController
    shown = WatchController._show_snapshot
    def first(self, snapshot):
        shown(self, snapshot)
        self._page.window().repaint()
        print(time.time(), time.process_time(), flush=True)
        self._page.window().bridge.stop()
        import os
        os._exit(0)
    WatchController._show_snapshot = first

def begin(arguments):
    starter = begun(arguments)
    from engine.runtime.client import EngineClient
    opened = EngineClient.__init__
    def open_and_look(self, *given, **more):
        opened(self, *given, **more)
        look()
    EngineClient.__init__ = open_and_look
    return starter

begun, command._begin_loading = command._begin_loading, begin
command.main(["replay", "demo"])
"""
"""All is loaded in the program's own order, the engine's process begun first: what looks on waits
until the program would load it next."""


def once(bytecode: str) -> tuple[float, float]:
    """Wall seconds and processor seconds from starting the program to its first painted levels."""
    env = {**os.environ, "PYTHONPYCACHEPREFIX": bytecode}
    env.pop("PYTHONDONTWRITEBYTECODE", None)
    began = time.time()
    command = [sys.executable, "-c", _INSIDE]
    done = subprocess.run(
        command, capture_output=True, text=True, timeout=60, check=False, env=env
    ).stdout
    at, cpu_s = done.splitlines()[-1].split()
    return float(at) - began, float(cpu_s)


def main() -> None:
    """Run it a few times; the first run may still render the demo take."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("runs", type=int, nargs="?", default=5)
    runs = parser.parse_args().runs
    with tempfile.TemporaryDirectory() as bytecode:
        once(bytecode)
        times, busy = zip(*(once(bytecode) for _ in range(runs)), strict=True)
    print(
        f"command to first meter: median {statistics.median(times):.2f} s, worst {max(times):.2f}; "
        f"processor time of the window: median {statistics.median(busy):.2f} s, least "
        f"{min(busy):.2f}"
    )
