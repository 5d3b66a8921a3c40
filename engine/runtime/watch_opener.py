"""Opens what an engine is to watch: a new session or one that broke off, with its log."""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from engine.model.commands import Open, Watch
from engine.model.snapshot import Snapshot
from engine.plan.load import PlanError
from engine.runtime.wire import Job
from engine.session import engines, folders
from engine.sources.base import SourceError

if TYPE_CHECKING:
    from engine.runtime.host import Host
    from engine.runtime.runner import Runner
    from engine.session.writer import SessionWriter

MOST_CRASHES: Final = 10
"""After so many within a minute the watch goes on with levels, muted and silent alone. Ours."""

_OTHER_WATCH_S: Final = 60.0
"""For this long a watch of the same input that is just beginning is looked for: on a computer with
too much to do one needs over 10 s to open an interface (measured). Ours."""

_BOOT_ID: Final = Path("/proc/sys/kernel/random/boot_id")


class WatchedElsewhereError(Exception):
    """Another engine watches that input; `folder` is its session's."""

    def __init__(self, folder: Path) -> None:
        super().__init__(str(folder))
        self.folder = folder


class WatchOpener:
    """Makes the runner of one session. Its parts load only when it is asked to.

    Parameters
    ----------
    job : Job
    starts : int
        How many engines of this session started within the last minute, this one counted.
    publish, on_plan : callable
        As the runner wants them.
    progress : callable
        Given what has to be waited for, one line; may raise to give up.
    """

    def __init__(
        self,
        job: Job,
        starts: int,
        publish: Callable[[Snapshot], None],
        on_plan: Callable[[Watch], None],
        progress: Callable[[str], None],
    ) -> None:
        self._job, self._starts = job, starts
        self._folder = Path(job.folder)
        self._publish, self._on_plan, self._progress = publish, on_plan, progress
        self._input_lock: engines.InputLock | None = None
        self.log: SessionWriter | None = None

    def open(self) -> Runner:
        """The runner, with the session's log open.

        Raises
        ------
        SourceError, PlanError, OSError
            Where source, plan or log can't be opened.
        WatchedElsewhereError
            Where another engine watches that live input.
        """
        from engine.runtime.host import Host
        from engine.runtime.open_source import with_demo
        from engine.session.resume import NotBegunError

        host = Host(boot=_boot(), version=_version())
        if self._job.resume:
            with suppress(NotBegunError):  # then it begins now
                return self._resumed(host)
        request = with_demo(self._job.request, self._progress)
        other = self._watched_already(request)
        if other is not None:
            raise WatchedElsewhereError(other)
        try:
            if request.plan is not None:
                request = folders.with_own_plan(request, self._folder)
            return self._runner(request, host, as_asked=self._job.request)
        except PlanError as error:  # of the session's copy: the user knows the file
            raise PlanError(Path(self._job.request.plan or error.path), error.mistakes) from None

    def _resumed(self, host: Host) -> Runner:
        from engine.session.resume import resume

        resumed = resume(self._folder)
        if resumed.info.live:
            self._take_input(resumed.info.name)
        return self._runner(resumed.request, host, resumed=resumed)

    def _runner(
        self, request: Open, host: Host, *, as_asked: Open | None = None, **more: Any
    ) -> Runner:
        from engine.runtime.computer import Computer
        from engine.runtime.runner import Runner
        from engine.session.resume import spool_of
        from engine.session.writer import SessionWriter

        self.log = SessionWriter(self._folder / folders.LOG, spool=spool_of(self._folder))
        logged = request if as_asked is None else replace(request, plan=as_asked.plan)
        return Runner(
            request,
            self._publish,
            host,
            log=self.log,
            on_plan=self._on_plan,
            logged_request=logged,
            reduced=self.reduced(),
            computer=lambda waiting_s: Computer(
                self._folder / folders.LOG, waiting_s, time.monotonic
            ),
            **more,
        )

    def reduced(self) -> str:
        """Why only the simplest is watched: what crashed so often; empty: all is watched."""
        if self._starts <= MOST_CRASHES:
            return ""
        return engines.last_words(self._folder)

    def _watched_already(self, request: Open) -> Path | None:
        """The session whose engine watches that live input now; else the input is ours."""
        if request.device is None:
            return None
        from engine.sources.capture import find_input

        name = find_input(request.device).name
        until = time.monotonic() + _OTHER_WATCH_S
        while not self._take_input(name):
            for folder, other in engines.running_watches(self._folder.parent):
                if folder != self._folder and other.live and other.source == name:
                    return folder
            if time.monotonic() > until:
                raise SourceError(f"{name} is in use by a watch that does not answer: end it first")
            self._progress(f"another watch of {name} is just beginning: joining it")
            time.sleep(0.05)
        return None

    def _take_input(self, name: str) -> bool:
        """Hold the input for this process; False where another watch does."""
        try:
            self._input_lock = self._input_lock or engines.InputLock(self._folder.parent, name)
        except OSError:
            return False
        return True


def _boot() -> str:
    try:
        return _BOOT_ID.read_text(encoding="ascii").strip()
    except OSError:
        return ""


def _version() -> str:
    try:
        return version("trackwarden")
    except PackageNotFoundError:
        return ""
