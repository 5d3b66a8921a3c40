"""The watch in a process of its own, told what to do on its input (`engine.runtime.process`).

It outlives the window that started it. A window connects, is told what is watched, and then gets
the newest snapshot as often as it can take one; its commands come back the same way. Nothing a
window does can hold up the watch.
"""

from __future__ import annotations

import faulthandler
import os
import pickle
import queue
import shutil
import signal
import sys
import threading
import time
from contextlib import suppress
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from engine.model.client_id import ClientId, this_process
from engine.model.commands import Look, Open, Stop, Watch
from engine.model.messages import Snapshot
from engine.plan.load import PlanError
from engine.runtime.ipc import BEAT_S, Alive, Elsewhere, Failed, Job, Progress, forget, new_address
from engine.runtime.server import Server
from engine.session import folders
from engine.sources.base import SourceError

if TYPE_CHECKING:
    from engine.runtime.runner import Runner
    from engine.session.writer import SessionWriter

ALONE_S: Final = 10.0
"""Without any window for this long, a replay that nobody looks at ends."""

SPARE: Final = "--spare"
"""Load everything first and then wait for a job: such a process begins at once."""

_MOST_WORDS: Final = 1_000_000
_BOOT_ID: Final = Path("/proc/sys/kernel/random/boot_id")


class _StoppedError(Exception):
    """No window wants the watch any more, though it has not begun."""


class Engine:
    """One session's engine: the runner, the windows that look at it, and the session's folder."""

    def __init__(self, job: Job) -> None:
        self._job = job
        self._folder = Path(job.folder)
        self._heard: queue.SimpleQueue[tuple[ClientId, Any]] = queue.SimpleQueue()
        self._turned_at = time.monotonic()
        self._over = threading.Event()
        self._log: SessionWriter | None = None
        stale = folders.left_running(self._folder)
        if stale is not None:
            forget(stale.address)
        self._address = new_address()
        self._server = Server(self._address, lambda who, said: self._heard.put((who, said)))
        self._say_running(job.request)

    def _say_running(self, request: Open, source: str = "", live: bool = False) -> None:
        address = self._address
        running = folders.Running(
            address.path, address.key.hex(), os.getpid(), request, source, live
        )
        folders.say_running(self._folder, running)

    def serve(self) -> None:
        """Run the watch until it is over."""
        threading.Thread(target=self._beat, name="heartbeat", daemon=True).start()
        try:
            self._watch()
        finally:
            self._over.set()
            if self._log is not None:
                self._log.close()
            folders.forget_running(self._folder)  # what breaks off without this is taken up again
            self._server.close()

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
        self._server.begin(watch)
        threading.Thread(target=self._pass_on, args=(runner,), daemon=True).start()
        signal.signal(signal.SIGTERM, lambda *_: self._heard.put((_itself(), Stop())))
        runner.run()

    def _open(self) -> Runner | None:
        # scipy loads here, while the window already connects.
        from engine.runtime.host import Host
        from engine.runtime.open_source import with_demo
        from engine.runtime.runner import Runner
        from engine.session.resume import resume
        from engine.session.writer import SessionWriter

        host = Host(boot=_boot(), version=_version())
        if self._job.resume:
            resumed = resume(self._folder)
            self._log = SessionWriter(self._folder / folders.LOG)
            return Runner(
                resumed.request,
                self._publish,
                host,
                log=self._log,
                resumed=resumed,
                on_plan=self._keep_plan,
            )
        request = with_demo(self._job.request, self._tell_progress)
        other = _watched_already(request, self._folder)
        if other is not None:
            self._fail(Elsewhere(str(other)))
            self._remove()
            return None
        if request.plan is not None:
            request = folders.with_own_plan(request, self._folder)
        self._log = SessionWriter(self._folder / folders.LOG)
        try:
            return Runner(request, self._publish, host, log=self._log, on_plan=self._keep_plan)
        except PlanError as error:  # of the session's copy: the user knows the file
            raise PlanError(Path(self._job.request.plan or error.path), error.mistakes) from None

    def _tell_progress(self, text: str) -> None:
        """Windows see what they wait for, and may stop it; what else they say is kept."""
        self._server.publish(Progress(text))
        heard = [self._heard.get() for _ in range(self._heard.qsize())]
        if any(isinstance(said, Stop) for _, said in heard):
            raise _StoppedError
        for one in heard:
            self._heard.put(one)

    def _keep_plan(self, watch: Watch) -> None:
        """Windows are told of the changed plan; the disk may take its time."""
        self._server.begin(watch)
        file = self._folder / folders.PLAN
        write = threading.Thread(
            target=folders.write_private, args=(file, watch.plan_text), daemon=True
        )
        write.start()

    def _remove(self) -> None:
        """A session that never began leaves nothing."""
        if self._log is not None:
            self._log.close()
        shutil.rmtree(self._folder, ignore_errors=True)

    def _publish(self, snapshot: Snapshot) -> None:
        self._turned_at = time.monotonic()
        self._server.publish(snapshot)

    def _fail(self, state: Failed | Elsewhere) -> None:
        """Tell whoever comes, until all have left."""
        self._server.publish(state)
        seen = False
        while self._server.alone_s < (BEAT_S if seen else ALONE_S):
            seen = seen or self._server.windows > 0
            while not self._heard.empty():
                if isinstance(self._heard.get()[1], Stop):
                    return
            time.sleep(0.02)

    def _beat(self) -> None:
        while not self._over.wait(BEAT_S):
            self._server.publish(Alive(time.monotonic() - self._turned_at))
            self._server.look_after()
            self._bound_words()

    def _bound_words(self) -> None:
        """A driver may complain for hours."""
        with suppress(OSError):
            words = self._folder / folders.WORDS
            if words.stat().st_size > _MOST_WORDS:
                os.truncate(words, 0)

    def _pass_on(self, runner: Runner) -> None:
        """Hand over what windows say; end a replay that nobody looks at any more."""
        from engine.runtime.runner import Asked

        while True:
            try:
                who, said = self._heard.get(timeout=BEAT_S)
            except queue.Empty:
                if not runner.watch.live and self._server.alone_s > ALONE_S:
                    runner.commands.put(Asked(Stop(), _itself()))
                continue
            if isinstance(said, str):
                said = Look(said)
            elif isinstance(said, Stop) and said.if_alone and self._server.windows > 1:
                continue
            runner.commands.put(Asked(said, who))


def _watched_already(request: Open, own: Path) -> Path | None:
    """The session whose engine watches that live input now."""
    if request.device is None:
        return None
    from engine.sources.device import find_input

    name = find_input(request.device).name
    others = (w for w in folders.running_watches() if w[0] != own)
    return next((folder for folder, r in others if r.live and r.source == name), None)


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
    """Import what a watch needs, live inputs where there is PortAudio."""
    with suppress(OSError):
        import sounddevice  # noqa: F401


def serve(job: Job) -> None:
    """Be the engine of the job's session, unless it has one."""
    try:
        lock = folders.Lock(Path(job.folder))
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
    try:
        job = pickle.load(sys.stdin.buffer)
    except EOFError:  # the window went without needing this spare
        return
    assert isinstance(job, Job)
    sys.stdin.close()
    sys.stdin = open(os.devnull)  # noqa: SIM115 - for the life of the process
    serve(job)


if __name__ == "__main__":
    main()
