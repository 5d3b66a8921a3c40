"""Writes a report in a process of its own, so that the window draws and the watch has its core.

Cancelling is asked for over the pipe and heeded at the next step; a process that ended in any
other way is cleaned up after, so that no half file is left.
"""

from __future__ import annotations

import multiprocessing
import signal
import traceback
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Final

from app.report.job import ReportFailedError, ReportJob, Written, write
from app.report.write import Cancelled, sweep
from engine.detectors.guard import reason_of
from engine.system.platform_calls import be_nicer

_NICER: Final = 10
"""The watch, its window and the recorder's own software come first."""

CLOSE_S: Final = 5.0
BROKE_OFF: Final = "writing the report broke off: try again"


@dataclass(frozen=True, slots=True)
class Step:
    """What is being done, and which share of all is."""

    words: str
    share: float


@dataclass(frozen=True, slots=True)
class Failed:
    """Nothing was written: why, in one line."""

    words: str


@dataclass(frozen=True, slots=True)
class Stopped:
    """It was cancelled."""


News = Step | Failed | Stopped | Written


class Worker:
    """One report on its way. No call but `close` waits."""

    def __init__(self, job: ReportJob) -> None:
        self._job = job
        context = multiprocessing.get_context("spawn")
        self._pipe, there = context.Pipe()
        self._process = context.Process(target=_serve, args=(job, there), name="report")
        self._process.start()
        there.close()
        self._asked = False

    def news(self) -> News | None:
        """The newest word from it; None where there is none. After its last word, `close` it."""
        newest: News | None = None
        try:
            while self._pipe.poll():
                newest = self._pipe.recv()
                if not isinstance(newest, Step):
                    break
        except (EOFError, OSError):
            newest = Stopped() if self._asked else Failed(BROKE_OFF)
        return newest

    def cancel(self) -> None:
        """It is no longer wanted; `news` says when it has ended."""
        self._asked = True
        with suppress(OSError):
            self._pipe.send(None)

    def close(self) -> None:
        """Wait for its end, force it where it must be, and leave no half file."""
        self.cancel()
        self._process.join(CLOSE_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()
        self._pipe.close()
        sweep(self._job.files, self._process.pid or 0)


def _serve(job: ReportJob, pipe: Connection) -> None:
    """The process: write the report and tell of it until it is done or not wanted any more."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the window ends it in good order
    be_nicer(_NICER)

    def tell(words: str, share: float) -> None:
        if pipe.poll():  # also when the window is gone
            raise Cancelled
        pipe.send(Step(words, share))

    last: News
    try:
        last = write(job, tell)
    except (Cancelled, BrokenPipeError):
        last = Stopped()
    except ReportFailedError as error:
        last = Failed(str(error))
    except Exception as error:  # the reason is worth more than that it broke off
        traceback.print_exc()
        last = Failed(f"the report can't be written: {reason_of(error)}")
    with suppress(OSError):
        pipe.send(last)
