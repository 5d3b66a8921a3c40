"""The watch in a process of its own, told what to do on its input (`engine.runtime.process`).

It outlives the window that started it. A window connects, is told what is watched, and then gets
the newest snapshot as often as it can take one; its commands come back the same way. Nothing a
window does can hold up the watch. An engine that breaks off, by a kill or by an exception, leaves
word of where it was, and another one goes on from there.
"""

from __future__ import annotations

import faulthandler
import os
import queue
import signal
import sys
import threading
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from engine.model.client_id import ClientId, this_process
from engine.model.commands import Look, Open, Stop, Watch
from engine.model.messages import Snapshot
from engine.plan.load import PlanError
from engine.runtime import keeper
from engine.runtime.ipc import BEAT_S, forget, new_address
from engine.runtime.server import Server
from engine.runtime.wire import (
    SCHEMA,
    Alive,
    Elsewhere,
    Failed,
    Job,
    Progress,
    State,
    WireError,
    pack,
    unpack,
)
from engine.session import engines, folders
from engine.sources.base import SourceError

if TYPE_CHECKING:
    from engine.runtime.host import Host
    from engine.runtime.runner import Runner
    from engine.session.writer import SessionWriter

ALONE_S: Final = 10.0
"""Without any window for this long, a replay that nobody looks at ends."""

SPARE: Final = "--spare"
"""Load everything first and then wait for a job: such a process begins at once."""

MOST_CRASHES: Final = 10
"""After so many within a minute the watch goes on with levels, muted and silent alone. Ours."""

_FOUND_S: Final = 10.0
"""For this long a watch of the same input that is just beginning is looked for. Ours."""

STUCK_S: Final = 15.0
"""A watch that takes no turn for this long is ended and another engine started."""

_KEEPER_S: Final = 5.0
_LEFT_OVER_S: Final = 60.0
_MOST_WORDS: Final = 1_000_000
_BOOT_ID: Final = Path("/proc/sys/kernel/random/boot_id")


class _StoppedError(Exception):
    """No window wants the watch any more, though it has not begun."""


class Engine:
    """One session's engine: the runner, the windows that look at it, and the session's folder."""

    def __init__(self, job: Job) -> None:
        self._job = job
        self._folder = Path(job.folder)
        self._incoming: queue.SimpleQueue[tuple[ClientId, Any]] = queue.SimpleQueue()
        self._turned_at = time.monotonic()
        self._over = threading.Event()
        self._log: SessionWriter | None = None
        self._keeper_job: bytes | None = None
        self._keeper_due = 0.0
        self._input_lock: engines.InputLock | None = None
        self._starts = engines.note_start(self._folder, time.monotonic())
        stale = engines.left_running(self._folder)
        if stale is not None:
            forget(stale.address)
        self._address = new_address(engines.ensured(engines.runtime_of(self._folder)))
        self._server = Server(self._address, lambda who, what: self._incoming.put((who, what)))
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
        threading.Thread(target=self._beat, name="heartbeat", daemon=True).start()
        threading.Thread(target=self._make_up, name="left over", daemon=True).start()
        ended = False
        try:
            self._watch()
            ended = True
        finally:
            self._over.set()
            if self._log is not None:
                self._log.close()
            if ended:  # before windows see the end: else they would take it for a crash
                engines.say_ended(self._folder)
            self._server.close()
        engines.forget_running(self._folder)

    def _watch(self) -> None:
        try:
            runner = self._open()
        except _StoppedError:
            self._remove()
            return
        except (SourceError, PlanError, OSError) as error:
            self._fail(Failed(str(error)))
            if not self._job.resume:
                self._remove()
            return
        if runner is None:
            return
        watch = runner.watch
        self._say_running(self._job.request, watch.source, watch.live)
        if watch.live:
            self._keeper_job = pack(replace(self._job, resume=True))
        self._server.begin(watch)
        threading.Thread(target=self._pass_on, args=(runner,), daemon=True).start()
        signal.signal(signal.SIGTERM, lambda *_: self._incoming.put((_itself(), Stop())))
        runner.run()

    # ---- opening -----------------------------------------------------------------------------

    def _open(self) -> Runner | None:
        """The runner; None where another engine watches that input. Its parts load only now."""
        from engine.runtime.host import Host
        from engine.runtime.open_source import with_demo

        host = Host(boot=_boot(), version=_version())
        if self._job.resume:
            return self._resumed(host)
        request = with_demo(self._job.request, self._tell_progress)
        other = self._watched_already(request)
        if other is not None:
            self._fail(Elsewhere(str(other)))
            self._remove()
            return None
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

        self._log = SessionWriter(self._folder / folders.LOG, spool=spool_of(self._folder))
        logged = request if as_asked is None else replace(request, plan=as_asked.plan)
        return Runner(
            request,
            self._publish,
            host,
            log=self._log,
            on_plan=self._keep_plan,
            logged_request=logged,
            reduced=self._reduced(),
            computer=lambda waiting_s: Computer(
                self._folder / folders.LOG, waiting_s, time.monotonic
            ),
            **more,
        )

    def _reduced(self) -> str:
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
        until = time.monotonic() + _FOUND_S
        while not self._take_input(name):
            for folder, other in engines.running_watches(self._folder.parent):
                if folder != self._folder and other.live and other.source == name:
                    return folder
            if time.monotonic() > until:
                raise SourceError(f"{name} is in use by a watch that does not answer: end it first")
            time.sleep(0.05)  # it is just beginning
        return None

    def _take_input(self, name: str) -> bool:
        """Hold the input for this process; False where another watch does."""
        try:
            self._input_lock = self._input_lock or engines.InputLock(self._folder.parent, name)
        except OSError:
            return False
        return True

    def _tell_progress(self, text: str) -> None:
        """Windows see what they wait for, and may stop it; what else they say is kept."""
        self._server.publish(Progress(text))
        waiting = [self._incoming.get() for _ in range(self._incoming.qsize())]
        if any(isinstance(what, Stop) for _, what in waiting):
            raise _StoppedError
        for one in waiting:
            self._incoming.put(one)

    def _keep_plan(self, watch: Watch) -> None:
        """Windows are told of the changed plan; the disk may take its time."""
        self._server.begin(watch)
        arguments = (self._folder, watch.plan_text)
        threading.Thread(target=folders.keep_plan, args=arguments, daemon=True).start()

    def _remove(self) -> None:
        """A session that never began leaves nothing."""
        if self._log is not None:
            self._log.close()
        folders.remove_session(self._folder)

    def _fail(self, state: Failed | Elsewhere) -> None:
        """Tell whoever comes, until all have left."""
        self._server.publish(state)
        seen = False
        while self._server.alone_s < (BEAT_S if seen else ALONE_S):
            seen = seen or self._server.windows > 0
            while not self._incoming.empty():
                if isinstance(self._incoming.get()[1], Stop):
                    return
            time.sleep(0.02)

    # ---- while it runs -----------------------------------------------------------------------

    def _publish(self, snapshot: Snapshot) -> None:
        self._turned_at = time.monotonic()
        self._server.publish(snapshot)

    @property
    def heartbeat(self) -> State:
        """For how long the watch has taken no turn: a driver may never answer."""
        return Alive(time.monotonic() - self._turned_at)

    def _beat(self) -> None:
        while not self._over.wait(BEAT_S):
            _safely(lambda: self._server.publish(self.heartbeat))
            _safely(self._server.look_after)
            _safely(self._bound_words)
            _safely(self._see_to_keeper)

    def _make_up(self) -> None:
        """Sessions that ended while the disk was full are written once there is room."""
        from engine.session.resume import write_left_over

        while not self._over.is_set():
            _safely(lambda: write_left_over(self._folder))
            self._over.wait(_LEFT_OVER_S)

    def _see_to_keeper(self) -> None:
        """Of a live watch: show that it takes turns, and have somebody who looks."""
        if self._keeper_job is None:
            return
        if time.monotonic() - self._turned_at < STUCK_S:
            engines.beat(self._folder)
        if time.monotonic() >= self._keeper_due:
            self._keeper_due = time.monotonic() + _KEEPER_S
            keeper.start_beside(engines.runtime_of(self._folder), self._keeper_job)

    def _bound_words(self) -> None:
        """A driver may complain for hours."""
        with suppress(OSError):
            words = engines.words_of(self._folder)
            if words.stat().st_size > _MOST_WORDS:
                os.truncate(words, 0)

    def _pass_on(self, runner: Runner) -> None:
        """Hand over what windows say; end a replay that nobody looks at any more."""
        while True:
            _safely(lambda: self._pass_on_one(runner))

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
        elif isinstance(what, Stop) and what.if_alone and self._server.windows > 1:
            return
        runner.commands.put(Asked(what, who))


def _safely(do: Callable[[], object]) -> None:
    """A thread that must go on, whatever happens in one round."""
    try:
        do()
    except Exception:
        traceback.print_exc()


def _itself() -> ClientId:
    return this_process("engine")


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


def _load() -> None:
    """Import what a watch needs."""
    from engine.runtime import host, runner  # noqa: F401


def serve(job: Job) -> None:
    """Be the engine of the job's session, unless it has one."""
    try:
        lock = engines.Lock(Path(job.folder))
    except OSError:
        return  # the windows find the other one
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
    sys.stdin.close()
    sys.stdin = open(os.devnull)  # noqa: SIM115 - for the life of the process
    serve(job)


if __name__ == "__main__":
    main()
