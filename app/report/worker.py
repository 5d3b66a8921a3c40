"""Does long work in a process of its own, so that the window draws and the watch has its core.

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
from typing import Final, Protocol

from app.models.verify_sheet import VerifySheet
from app.report.job import JobFailedError, Written
from app.report.write import Cancelled, Progress
from engine.detectors.guard import reason_of
from engine.system.platform_calls import be_nicer

_NICER: Final = 10
"""The watch, its window and the recorder's own software come first."""

CLOSE_S: Final = 5.0


@dataclass(frozen=True, slots=True)
class Step:
    """What is being done, and which share of all is."""

    words: str
    share: float


@dataclass(frozen=True, slots=True)
class Failed:
    """Nothing came of it: why, in one line."""

    words: str


@dataclass(frozen=True, slots=True)
class Stopped:
    """It was cancelled."""


Result = Written | VerifySheet
News = Step | Failed | Stopped | Result


class Job(Protocol):
    """Work to do; it goes to the process as it is."""

    @property
    def broke_off(self) -> str:
        """What to say where its process was ended by others."""
        ...

    @property
    def failed(self) -> str:
        """What to say before the reason where it raised."""
        ...

    def run(self, progress: Progress) -> Result:
        """Do it; what `progress` raises ends it."""
        ...

    def tidy(self, pid: int) -> None:
        """Leave nothing half done by that process."""
        ...


class Worker:
    """One job on its way. No call but `close` waits."""

    def __init__(self, job: Job) -> None:
        self._job = job
        context = multiprocessing.get_context("spawn")
        self._pipe, there = context.Pipe()
        self._process = context.Process(target=_serve, args=(job, there), name="work")
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
            newest = Stopped() if self._asked else Failed(self._job.broke_off)
        return newest

    def cancel(self) -> None:
        """It is no longer wanted; `news` says when it has ended."""
        self._asked = True
        with suppress(OSError):
            self._pipe.send(None)

    def kill(self) -> None:
        """End it at once, where it leaves nothing half done."""
        self._asked = True
        self._process.kill()

    def close(self) -> None:
        """Wait for its end, force it where it must be, and leave no half file."""
        self.cancel()
        self._process.join(CLOSE_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()
        self._pipe.close()
        self._job.tidy(self._process.pid or 0)


def _serve(job: Job, pipe: Connection) -> None:
    """The process: do it and tell of it until it is done or not wanted any more."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the window ends it in good order
    be_nicer(_NICER)

    def tell(words: str, share: float) -> None:
        if pipe.poll():  # also when the window is gone
            raise Cancelled
        pipe.send(Step(words, share))

    last: News
    try:
        last = job.run(tell)
    except (Cancelled, BrokenPipeError):
        last = Stopped()
    except JobFailedError as error:
        last = Failed(str(error))
    except Exception as error:  # the reason is worth more than that it broke off
        traceback.print_exc()
        last = Failed(f"{job.failed}: {reason_of(error)}")
    with suppress(OSError):
        pipe.send(last)
