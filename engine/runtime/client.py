"""A window's end of the connection: finds or starts an engine, follows it, replaces one that dies.

No call waits for the engine; all that may take time happens on threads of the client's own.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from contextlib import suppress
from multiprocessing import AuthenticationError
from pathlib import Path
from typing import Final

from engine.model.client_id import this_process
from engine.model.commands import Command, Open, Stop, Watch
from engine.model.snapshot import Snapshot
from engine.runtime.housekeeping import STUCK_S
from engine.runtime.ipc import BEAT_S, Connection, carry_events, connect
from engine.runtime.patience import Patience
from engine.runtime.session_choice import choose_session, with_whole_paths
from engine.runtime.spawn import Starter
from engine.runtime.wire import (
    SCHEMA,
    Alive,
    Elsewhere,
    Failed,
    Job,
    Message,
    Progress,
    WireError,
    pack,
    unpack_message,
)
from engine.session import engines, folders
from engine.system.platform_calls import end_process

CONNECT_S: Final = 30.0
"""A slow machine may take this long to bring an engine up."""

HUNG_S: Final = 5.0
"""An engine that gives no sign of life for this long is ended and another one started."""

STEADY_S: Final = 30.0
"""An engine that dies after this long is replaced at once; sooner again, ever later."""

SLOWEST_S: Final = 2.0
"""Nobody watches meanwhile: an engine that dies again and again is tried this often at least."""

SPARE_AFTER_S: Final = 2.0
"""A spare is made only once the watch has begun: both at once would slow it down."""

LOOKING_S: Final = 2.0
"""A window that did not ask for news for this long is frozen, and gives no sign of life."""

CLOSE_S: Final = 5.0

OTHER_VERSION: Final = (
    "this watch runs in another version of trackwarden: it goes on; look at it with the version "
    "that began it, or end that one first"
)


class EngineFailedError(OSError):
    """The watch could not be opened, or is over; one clear line."""


class EngineClient:
    """One watch and its newest snapshot. No call but `close` waits.

    Parameters
    ----------
    request : Open
        What to watch. A live input that is watched already is joined; a watch of it that broke
        off with the whole machine goes on where it was.
    place : str
        What this process is: window or terminal.
    folder : Path, optional
        Join the running watch of the session in that folder instead.
    follows : bool
        Look only, at the session in `folder`: an engine that dies is waited for, not replaced.
    starter : Starter, optional
        Starts its engines, and is closed with it; it may have one that loads already.
    """

    def __init__(
        self,
        request: Open,
        place: str = "window",
        folder: Path | None = None,
        follows: bool = False,
        starter: Starter | None = None,
    ) -> None:
        self._follows = follows
        self._request = with_whole_paths(request)
        self._who = this_process(place)
        self._starter = starter or Starter()
        self._wake = threading.Condition()
        self._waiting: deque[Command | Alive] = deque()
        self._connection: Connection | None = None
        self._watch: Watch | None = None
        self._latest: Snapshot | None = None
        self._failure = self._progress = self._stopped = ""
        self._closed = self._over = self._ended = self._told_to_stop = False
        self._began = self._answered = False
        self._looked_at = time.monotonic()
        self._began_at = 0.0
        self._deaths = self._pid = 0
        session = choose_session(self._request, folder)
        self.folder, self.joined = session.folder, session.joined
        if not self.joined:
            self._starter.start(Job(str(self.folder), self._request, resume=session.broke_off))
        self._threads = [
            threading.Thread(target=work, name="engine client", daemon=True)
            for work in (self._attend, self._speak)
        ]
        for thread in self._threads:
            thread.start()

    # ---- what a window asks ------------------------------------------------------------------

    def watch(self) -> Watch | None:
        """What is watched; None while it is still opening."""
        self._check()
        return self._watch

    def latest(self) -> Snapshot | None:
        """The newest snapshot not handed out yet; None where there is none."""
        self._check()
        with self._wake:
            latest, self._latest = self._latest, None
        return latest

    @property
    def progress(self) -> str:
        """What keeps the watch from beginning, one line."""
        return self._progress

    @property
    def stopped(self) -> str:
        """Why nothing is watched at the moment, one line; empty while the engine lives."""
        return self._stopped

    @property
    def goes_on(self) -> bool:
        """The watch lives on after `close`."""
        return not self._over

    def send(self, command: Command) -> None:
        """Pass a command on; kept until an engine can take it."""
        with self._wake:
            self._told_to_stop |= isinstance(command, Stop) and not command.if_alone
            self._waiting.append(command)
            self._wake.notify_all()

    def close(self) -> None:
        """Let go of the watch; may be called twice. A replay ends, a live watch goes on.

        Waits for the end of a watch that was told to stop.
        """
        if self._closed:
            return
        if not self.joined and (self._watch is None or not self._watch.live):
            self.send(Stop())
        with self._wake:
            if self._told_to_stop and not self._wake.wait_for(lambda: self._over, CLOSE_S):
                self._kill()
            self._closed = True
            self._wake.notify_all()
        for thread in self._threads:
            thread.join(CLOSE_S)
        self._starter.close()
        if not self.joined and not self._began and not engines.is_locked(self.folder):
            folders.remove_session(self.folder)  # given up before it began

    def _check(self) -> None:
        self._looked_at = time.monotonic()
        if self._failure:
            raise EngineFailedError(self._failure)

    # ---- hearing -----------------------------------------------------------------------------

    def _attend(self) -> None:
        """Be connected to an engine, whichever lives, until the watch is over."""
        while not self._closed:
            connection = self._connect()
            if connection is not None:
                self._answered = True
                self._began_at = time.monotonic()
                self._listen(connection)
            if self._closed or self._is_over():
                break
            self._replace_engine()
        with self._wake:
            self._over = True
            self._wake.notify_all()

    def _connect(self) -> Connection | None:
        """A connection to the session's engine; None where there is none any more."""
        until = time.monotonic() + CONNECT_S
        while not self._closed and time.monotonic() < until:
            engine = engines.left_running(self.folder)
            if engine is not None and engine.schema != SCHEMA and engines.is_locked(self.folder):
                self._failure = OTHER_VERSION
                return None
            if engine is not None:
                self._pid = engine.pid
                try:
                    connection = connect(engine.address)
                    connection.send(pack(self._who))
                    return connection
                except TimeoutError:  # it lives, but does not answer
                    self._answered = True
                    self._kill()
                except (OSError, EOFError, AuthenticationError):
                    pass
            no_engine = not self._starter.running and not engines.is_locked(self.folder)
            if no_engine and not self._follows:
                return None
            time.sleep(0.02)
        return None

    def _listen(self, connection: Connection) -> None:
        """Take in what the engine says until it ends or this client closes."""
        with self._wake:
            self._connection = connection
            self._wake.notify_all()
        patience = Patience(2 * BEAT_S, time.monotonic())
        with suppress(EOFError, OSError, WireError):
            while not self._closed:
                if connection.poll(BEAT_S):
                    self._hear(unpack_message(connection.recv()))
                    patience.came()
                elif patience.look(time.monotonic()) > HUNG_S:
                    self._kill()
        with self._wake:
            self._connection = None
        connection.close()

    def _hear(self, message: Message) -> None:
        watch, state = message.watch, message.state
        if isinstance(state, Failed):
            self._failure = state.reason
        elif isinstance(state, Progress):
            self._progress = state.text
        elif isinstance(state, Elsewhere):
            self.folder, self.joined = Path(state.folder), True
            raise EOFError
        elif isinstance(state, Snapshot):
            self._take_in(watch, state)
        elif watch is not None and state.turn_s > STUCK_S:
            self._kill()

    def _take_in(self, watch: Watch | None, snapshot: Snapshot) -> None:
        with self._wake:
            self._watch, self._latest = watch, carry_events(self._latest, snapshot)
        self._began = True
        self._stopped, self._ended = "", snapshot.ended
        if self._follows or snapshot.ended:
            return
        if time.monotonic() - self._began_at > SPARE_AFTER_S:
            self._starter.keep_spare()

    # ---- an engine that dies -----------------------------------------------------------------

    def _is_over(self) -> bool:
        """There is nothing to go on with; says why, where nobody asked for it."""
        if self._failure or self._told_to_stop or self._ended:
            return True
        if not self._answered:
            self._failure = f"the engine could not start: {engines.last_words(self.folder)}"
        elif engines.left_running(self.folder) is None:
            self._failure = "the watch has ended: it was stopped in another window"
        return bool(self._failure)

    def _replace_engine(self) -> None:
        """Start another engine on the same session, unless another window has."""
        self._stopped = "watch stopped: its process has ended. A new one is starting."
        if self._follows:
            return
        steady = time.monotonic() - self._began_at > STEADY_S
        self._deaths = 0 if steady else self._deaths + 1
        if self._deaths > 1:
            with self._wake:
                pause_s = min(0.5 * 2.0 ** (self._deaths - 2), SLOWEST_S)
                self._wake.wait_for(lambda: self._closed, pause_s)
        if not self._closed and not engines.is_locked(self.folder):
            self._starter.start(Job(str(self.folder), self._request, resume=True))

    def _kill(self) -> None:
        """End an engine that does not answer."""
        if self._follows or self._pid <= 0 or not engines.is_locked(self.folder):
            return  # there is none, and its number may be another's by now
        with suppress(OSError):
            end_process(self._pid)

    # ---- speaking ----------------------------------------------------------------------------

    def _speak(self) -> None:
        """Send what waits, and a sign of life while the window asks for news."""
        while True:
            with self._wake:
                self._wake.wait_for(lambda: self._closed or self._has_words(), BEAT_S)
                if self._closed:
                    return
                connection = self._connection
                says = self._waiting.popleft() if self._has_words() else Alive()
            silent = time.monotonic() - self._looked_at > LOOKING_S
            if connection is None or (silent and isinstance(says, Alive)):
                continue
            try:
                connection.send(pack(says))
            except (OverflowError, UnicodeError):  # nothing that can be sent, now or later
                continue
            except (OSError, ValueError):
                if not isinstance(says, Alive):
                    with self._wake:
                        self._waiting.appendleft(says)

    def _has_words(self) -> bool:
        return bool(self._waiting) and self._connection is not None
