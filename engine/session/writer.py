"""Writes the session log from a thread of its own: whoever hands lines over never waits.

Each commit is on the disk before it counts as saved. What can't be written stays in memory up to
a bound and is tried again; what the bound pushed out is recorded as a gap. Whatever goes wrong on
the thread is a problem of the log alone.
"""

from __future__ import annotations

import sqlite3
import threading
import time
import traceback
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

from engine.model.snapshot import LogState
from engine.session.backlog import Backlog, LogLine, Spool, Stamp
from engine.session.schema import INSERTS, NotALogError, open_to_write

__all__ = ["Backlog", "LogLine", "SessionWriter", "Stamp"]

WRITE_S: Final = 0.5
"""Lines that can wait are written this often."""

RETRY_S: Final = 1.0

HANGS_S: Final = 2.0
"""A disk that takes longer for one commit is said not to answer. Ours."""

CLOSE_S: Final = 3.0

_LARGEST_INTEGER: Final = 2**63 - 1


class SessionWriter:
    """The log of one session, open from now to `close`. No call but `close` waits for the disk.

    Parameters
    ----------
    path : Path
        Of the log; its folder is made where it is missing.
    clock : callable
        Seconds on a steady scale.
    backlog : Backlog, optional
    spool : Spool, optional
        Where lines that can't be written are kept as well; what an earlier engine left there is
        written first.
    """

    def __init__(
        self,
        path: Path,
        clock: Callable[[], float] = time.monotonic,
        backlog: Backlog | None = None,
        spool: Spool | None = None,
    ) -> None:
        self._path = path
        self._clock = clock
        self._wake = threading.Condition()
        self._incoming = Backlog()
        self._backlog = backlog or Backlog()
        self._spool = spool
        self._connection: sqlite3.Connection | None = None
        self._saved_at = clock()
        self._begun_at: float | None = None
        self._problem = ""
        self._waiting = 0
        self._stamp = Stamp(0.0, 0, 0, "")
        self._urgent = self._closing = False
        if spool is not None:
            self._backlog.add(spool.lines(), self._stamp)
        self._start()

    def _start(self) -> None:
        self._thread = threading.Thread(target=self._run, name="session log", daemon=True)
        self._thread.start()

    def write(self, lines: Sequence[LogLine], stamp: Stamp, *, now: bool = False) -> None:
        """Hand lines over; `now` for what must not wait for the next round."""
        with self._wake:
            self._incoming.add(lines, stamp)
            self._stamp = stamp
            if now:
                self._urgent = True
                self._wake.notify()
            if not self._thread.is_alive() and not self._closing:
                self._start()

    def state(self) -> LogState:
        """How long ago all was saved, what keeps the log from being written, what waits."""
        now, begun_at = self._clock(), self._begun_at
        problem = self._problem
        if begun_at is not None and now - begun_at > HANGS_S:
            problem = f"the disk has not answered for {now - begun_at:.0f} s"
        with self._wake:
            waiting = self._waiting + len(self._incoming) if problem else self._waiting
        return LogState(now - self._saved_at, problem, waiting)

    def close(self) -> None:
        """Write what waits, as far as the disk lets it, and let go of the file."""
        with self._wake:
            self._closing = True
            self._wake.notify()
        self._thread.join(CLOSE_S)

    # ---- on the thread of its own ------------------------------------------------------------

    def _run(self) -> None:
        while True:
            with self._wake:
                pause_s = RETRY_S if self._problem else WRITE_S
                self._wake.wait_for(lambda: self._closing or self._is_urgent(), pause_s)
                closing, self._urgent = self._closing, False
                fresh = self._incoming.move_to(self._backlog, self._stamp)
                stamp = self._stamp
                self._waiting = len(self._backlog)
            self._write(stamp, fresh)
            if closing:
                self._let_go()
                return

    def _is_urgent(self) -> bool:
        return self._urgent and not self._problem

    def _write(self, stamp: Stamp, fresh: Sequence[LogLine]) -> None:
        """Bring the backlog to the disk; `fresh` is what came since the last time."""
        self._begun_at = begun = self._clock()
        try:
            self._commit(stamp)
        except Exception as error:
            expected = isinstance(error, sqlite3.Error | OSError | NotALogError)
            if not expected and not self._problem:
                traceback.print_exc()
            self._problem = _plain(error) if expected else f"{type(error).__name__}: {error}"[:200]
            self._let_go()  # opened anew: what is wrong may be the handle
            if self._spool is not None:
                self._spool.append(fresh)
        else:
            self._problem = ""
            self._saved_at = begun
        finally:
            self._begun_at = None
        self._waiting = len(self._backlog)

    def _commit(self, stamp: Stamp) -> None:
        if self._connection is None:
            self._path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._connection = open_to_write(self._path)
        lines = self._backlog.lines()
        if lines:
            _write_all(self._connection, lines, stamp)
            self._backlog.written()
        elif self._problem:
            self._connection.execute("PRAGMA user_version").fetchone()
        if self._spool is not None and lines:
            self._spool.clear()

    def _let_go(self) -> None:
        if self._connection is not None:
            with suppress(sqlite3.Error):
                self._connection.close()
            self._connection = None


def _write_all(connection: sqlite3.Connection, lines: Sequence[LogLine], stamp: Stamp) -> None:
    """All of them or none; one that the tables refuse must not hold up the others for ever."""
    refused = 0
    connection.execute("BEGIN IMMEDIATE")
    try:
        for line in lines:
            try:
                _insert(connection, line)
            except (sqlite3.IntegrityError, sqlite3.InterfaceError, sqlite3.ProgrammingError):
                refused += 1
        if refused:
            values = ("log", *stamp.values, 0.0, refused, "refused: their incident was pushed out")
            connection.execute(INSERTS["gap"], values)
        connection.execute("COMMIT")
    except BaseException:
        with suppress(sqlite3.Error):
            connection.execute("ROLLBACK")
        raise


def _insert(connection: sqlite3.Connection, line: LogLine) -> None:
    try:
        connection.execute(INSERTS[line.kind], line.values)
    except (UnicodeEncodeError, OverflowError):  # half a surrogate pair, a number beyond 64 bits
        connection.execute(INSERTS[line.kind], tuple(map(_storable, line.values)))


def _storable(value: Any) -> Any:
    """The nearest that SQLite can store."""
    if isinstance(value, str):
        return value.encode("utf-8", "replace").decode("utf-8")
    if isinstance(value, int):
        return max(-_LARGEST_INTEGER, min(value, _LARGEST_INTEGER))
    return value


def _plain(error: Exception) -> str:
    return " ".join(str(error).split())
