"""The watch in a process of its own, told what to do on its input (`engine.runtime.process`).

It outlives the window that started it. A window connects, is told what is watched, and then gets
the newest snapshot as often as it can take one; its commands come back the same way. Nothing a
window does can hold up the watch. An engine that breaks off, by a kill or by an exception, leaves
word of where it was, and another one goes on from there.
"""

from __future__ import annotations

import faulthandler
import gc
import os
import queue
import signal
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from engine.model.client_id import ClientId, this_process
from engine.model.commands import Look, Open, Stop, Watch
from engine.model.snapshot import Snapshot
from engine.plan.load import PlanError
from engine.runtime.housekeeping import Housekeeping, safely
from engine.runtime.ipc import BEAT_S, forget, new_address
from engine.runtime.server import Server
from engine.runtime.spawn import SPARE, speak_into
from engine.runtime.watch_opener import WatchedElsewhereError, WatchOpener
from engine.runtime.wire import (
    SCHEMA,
    Elsewhere,
    Failed,
    Job,
    Progress,
    WireError,
    pack,
    unpack,
)
from engine.session import engines, folders
from engine.sources.base import SourceError
from engine.system.platform_calls import keep_freed_memory

if TYPE_CHECKING:
    from engine.runtime.runner import Runner

ALONE_S: Final = 10.0
"""Without any window for this long, a replay that nobody looks at ends."""


class _StoppedError(Exception):
    """No window wants the watch any more, though it has not begun."""


class Engine:
    """One session's engine: the runner, the windows that look at it, and the session's folder."""

    def __init__(self, job: Job) -> None:
        self._job = job
        self._folder = Path(job.folder)
        self._incoming: queue.SimpleQueue[tuple[ClientId, Any]] = queue.SimpleQueue()
        starts = engines.note_start(self._folder, time.monotonic())
        self._opener = WatchOpener(job, starts, self._publish, self._keep_plan, self._tell_progress)
        stale = engines.left_running(self._folder)
        if stale is not None:
            forget(stale.address)
        self._address = new_address(engines.ensured(engines.runtime_of(self._folder)))
        self._server = Server(self._address, lambda who, what: self._incoming.put((who, what)))
        self._housekeeping = Housekeeping(self._folder, self._server)
        self._say_running(job.request)

    def _say_running(self, request: Open, source: str = "", live: bool = False) -> None:
        address = self._address
        engines.say_running(
            self._folder,
            engines.Running(
                address.path,
                address.key.hex(),
                os.getpid(),
                request,
                source,
                live or (self._job.resume and request.device is not None),
                schema=SCHEMA,
            ),
        )

    def serve(self) -> None:
        """Run the watch until it is over; what is raised here is a crash, and leaves word of it."""
        self._housekeeping.start()
        ended = False
        try:
            self._watch()
            ended = True
        finally:
            self._housekeeping.stop()
            self._close_log()
            if ended:  # before windows see the end: else they would take it for a crash
                engines.say_ended(self._folder)
            self._server.close()
        engines.forget_running(self._folder)

    def _watch(self) -> None:
        try:
            runner = self._opener.open()
        except _StoppedError:
            self._remove()
            return
        except WatchedElsewhereError as elsewhere:
            self._fail(Elsewhere(str(elsewhere.folder)))
            self._remove()
            return
        except (SourceError, PlanError, OSError) as error:
            self._fail(Failed(str(error)))
            if not self._job.resume:
                self._remove()
            return
        watch = runner.watch
        self._say_running(self._job.request, watch.source, watch.live)
        if watch.live:
            self._housekeeping.keep_with(pack(replace(self._job, resume=True)))
        self._server.begin(watch)
        threading.Thread(target=self._pass_on, args=(runner,), daemon=True).start()
        signal.signal(signal.SIGTERM, lambda *_: self._incoming.put((_itself(), Stop())))
        runner.run()

    # ---- opening -----------------------------------------------------------------------------

    def _tell_progress(self, text: str) -> None:
        """Windows see what they wait for, and may stop it; what else they say is kept."""
        self._server.publish(Progress(text))
        waiting = [self._incoming.get() for _ in range(self._incoming.qsize())]
        if any(isinstance(what, Stop) for _, what in waiting):
            raise _StoppedError
        for message in waiting:
            self._incoming.put(message)

    def _keep_plan(self, watch: Watch) -> None:
        """Windows are told of the changed plan; the disk may take its time."""
        self._server.begin(watch)
        arguments = (self._folder, watch.plan_text)
        threading.Thread(target=folders.keep_plan, args=arguments, daemon=True).start()

    def _remove(self) -> None:
        """A session that never began leaves nothing."""
        self._close_log()
        folders.remove_session(self._folder)

    def _close_log(self) -> None:
        if self._opener.log is not None:
            self._opener.log.close()

    def _fail(self, state: Failed | Elsewhere) -> None:
        """Tell whoever comes, until all have left."""
        self._server.publish(state)
        any_window = False
        while self._server.alone_s < (BEAT_S if any_window else ALONE_S):
            any_window = any_window or self._server.windows > 0
            while not self._incoming.empty():
                if isinstance(self._incoming.get()[1], Stop):
                    return
            time.sleep(0.02)

    # ---- while it runs -----------------------------------------------------------------------

    def _publish(self, snapshot: Snapshot) -> None:
        self._housekeeping.turned()
        self._server.publish(snapshot)

    def _pass_on(self, runner: Runner) -> None:
        """Hand over what windows say; end a replay that nobody looks at any more."""
        while True:
            safely(lambda: self._pass_on_one(runner))

    def _pass_on_one(self, runner: Runner) -> None:
        from engine.runtime.runner import Asked

        try:
            who, what = self._incoming.get(timeout=BEAT_S)
        except queue.Empty:
            if not runner.watch.live and self._server.alone_s > ALONE_S:
                runner.commands.put(Asked(Stop(), _itself()))
            return
        if isinstance(what, str):
            what = Look(what)
        elif isinstance(what, Stop) and what.if_alone and not self._server.leaves(who):
            return
        runner.commands.put(Asked(what, who))


def _itself() -> ClientId:
    return this_process("engine")


def _load() -> None:
    """Import what a watch needs: it is here to stay, and need not be looked through for what could
    be given up, neither now nor later."""
    gc.disable()
    from engine.runtime import host, runner  # noqa: F401

    gc.freeze()
    gc.enable()


def serve(job: Job) -> None:
    """Be the engine of the job's session, unless it has one."""
    try:
        lock = engines.Lock(Path(job.folder))
    except OSError:
        return  # the windows find the other one
    keep_freed_memory()
    try:
        Engine(job).serve()
    finally:
        lock.release()


def main() -> None:
    """Read the job that the parent wrote, and serve it."""
    faulthandler.enable()
    if SPARE in sys.argv:
        _load()
    data = sys.stdin.buffer.read()
    if not data:  # the window went without needing this spare
        return
    try:
        job = unpack(data)
    except WireError as error:
        sys.exit(f"trackwarden engine: no job: {error}")
    assert isinstance(job, Job)
    if SPARE in sys.argv:
        speak_into(Path(job.folder))
    sys.stdin.close()
    sys.stdin = open(os.devnull)  # noqa: SIM115 - for the life of the process
    serve(job)


if __name__ == "__main__":
    main()
