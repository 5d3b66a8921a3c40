"""The real window in a process of its own that notes when it painted what.

Started by the benchmarks: `python -m tests.benchmarks.screen.painted DEVICE PLAN RECORD`. For
each new snapshot that the board has painted it appends a row to the record: when its painting
ended, when the audio in it had come to the engine, up to which stream time that was (see
`Snapshot`). SIGTERM ends the watch and the window.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import numpy as np

from engine.session import engines, folders
from engine.session.engines import Running
from tests.support.checkout import ROOT

_ROW: Final = np.dtype([("painted_at", "<f8"), ("heard_at", "<f8"), ("now_s", "<f8")])
_UP_S: Final = 60.0


def read(record: Path) -> np.ndarray:
    """The rows so far, with the fields painted_at, heard_at and now_s; a torn last one is left."""
    whole = record.stat().st_size // _ROW.itemsize if record.exists() else 0
    return np.fromfile(record, _ROW, count=whole)


class Window:
    """A running window, its engine and what it noted."""

    def __init__(self, process: subprocess.Popen[bytes], record: Path, folder: Path) -> None:
        self.process, self._record, self.folder = process, record, folder
        running = engines.running_in(folder)
        assert running is not None
        self.engine_pid = running.pid

    def rows(self) -> np.ndarray:
        """What was painted so far."""
        return read(self._record)


@contextmanager
def window_on(device: str, plan: Path, scratch: Path, env: dict[str, str]) -> Iterator[Window]:
    """A window that watches that live input; both it and the engine are gone afterwards.

    `scratch` becomes the home of both processes.
    """
    os.environ["XDG_DATA_HOME"] = str(scratch / "data")
    homes = {f"XDG_{name}_HOME": str(scratch / name.lower()) for name in ("DATA", "CONFIG")}
    settings = scratch / "config" / "trackwarden" / "window.ini"
    settings.parent.mkdir(parents=True)
    settings.write_text("[chime]\non=false\n")  # there is no output to play it
    record = scratch / "painted"
    command = [
        sys.executable,
        "-m",
        "tests.benchmarks.screen.painted",
        device,
        str(plan),
        str(record),
    ]
    process = subprocess.Popen(command, cwd=ROOT, env={**env, **homes})
    try:
        folder, running = _wait_until_up(process, record)
        yield Window(process, record, folder)
    finally:
        process.send_signal(signal.SIGCONT)
        process.send_signal(signal.SIGTERM)
        try:
            process.wait(15)
        except subprocess.TimeoutExpired:
            process.kill()
        for _, running in engines.running_watches(folders.sessions_folder()):
            os.kill(running.pid, signal.SIGKILL)


def _wait_until_up(process: subprocess.Popen[bytes], record: Path) -> tuple[Path, Running]:
    until = time.monotonic() + _UP_S
    while time.monotonic() < until and process.poll() is None:
        watches = list(engines.running_watches(folders.sessions_folder()))
        if watches and len(read(record)):
            return watches[0]
        time.sleep(0.1)
    raise RuntimeError(f"no picture within {_UP_S:g} s: the window's own words are above")


def main() -> None:
    """Be that window."""
    device, plan, record = sys.argv[1:]
    from PySide6.QtCore import QTimer
    from PySide6.QtWidgets import QApplication

    from app.controllers.watch_controller import WatchController
    from app.views.board.board import Board
    from app.window.application import run_window
    from engine.model.commands import Open, Stop
    from engine.model.snapshot import Snapshot
    from engine.runtime.client import EngineClient

    shown: list[Snapshot] = []
    show, paint = WatchController._show_snapshot, Board.paintEvent
    clients: list[EngineClient] = []
    out = open(record, "ab", buffering=0)  # noqa: SIM115 - for the life of the process

    def noting_show(watch: WatchController, snapshot: Snapshot) -> None:
        shown[:] = [snapshot]
        show(watch, snapshot)

    def noting_paint(board: Board, event: object) -> None:
        paint(board, event)  # type: ignore[arg-type]
        if shown:
            shot = shown.pop()
            out.write(np.array([(time.monotonic(), shot.heard_at, shot.now_s)], _ROW).tobytes())

    def client_for(request: Open) -> EngineClient:
        clients.append(EngineClient(request))
        return clients[-1]

    def leave(*_signal: object) -> None:
        for client in clients:
            client.send(Stop())
        QTimer.singleShot(0, QApplication.quit)

    WatchController._show_snapshot = noting_show  # type: ignore[method-assign]
    Board.paintEvent = noting_paint  # type: ignore[method-assign, assignment]
    signal.signal(signal.SIGTERM, leave)
    run_window(Open(device=device, plan=plan), client_for)


if __name__ == "__main__":
    main()
