"""Writes the session log from a thread of its own: whoever hands lines over never waits.

Each commit is on the disk before it counts as saved. What can't be written stays in memory up to
a bound and is tried again; what the bound pushed out is recorded as a gap.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from engine.model.messages import LogState
from engine.session.schema import INSERTS, NotALogError, open_to_write

WRITE_S: Final = 0.5
"""Lines that can wait are written this often."""

RETRY_S: Final = 1.0

WAITING_LEVELS: Final = 4 * 3600
"""Seconds of level history that may wait in memory: four hours."""

WAITING_LINES: Final = 20_000

NEWEST_SAYS_ALL: Final = ("kept", "stretch")
"""Of these kinds only the newest line waits."""

CLOSE_S: Final = 3.0


@dataclass(frozen=True, slots=True)
class LogLine:
    """One row to write: `kind` is a key of `log_schema.INSERTS`."""

    kind: str
    values: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class Stamp:
    """When and where: stream time, sample position, wall clock, timecode."""

    at_s: float
    frame: int
    utc_ms: int
    timecode: str

    @property
    def values(self) -> tuple[float, int, int, str]:
        """In the order of the tables' columns."""
        return (self.at_s, self.frame, self.utc_ms, self.timecode)


class Backlog:
    """Lines not written yet, bounded; the oldest go first and are counted."""

    def __init__(self, lines: int = WAITING_LINES, levels: int = WAITING_LEVELS) -> None:
        self._lines: deque[LogLine] = deque()
        self._levels: deque[LogLine] = deque()
        self._newest: dict[str, LogLine] = {}
        self._most = {id(self._lines): lines, id(self._levels): levels}
        self._pushed_out = 0
        self._since: Stamp | None = None

    def __len__(self) -> int:
        return len(self._lines) + len(self._levels) + len(self._newest)

    def add(self, lines: Sequence[LogLine], stamp: Stamp) -> None:
        """Take lines in; `stamp` is when they came."""
        for line in lines:
            if line.kind in NEWEST_SAYS_ALL:
                self._newest[line.kind] = line
                continue
            queue = self._levels if line.kind == "level" else self._lines
            queue.append(line)
            if len(queue) > self._most[id(queue)]:
                queue.popleft()
                self._pushed_out += 1
                self._since = self._since or stamp

    def lines(self) -> list[LogLine]:
        """All that waits, in the order to write; last a gap for what was pushed out."""
        lines = [*self._lines, *self._levels, *self._newest.values()]
        if self._since is not None:
            lost = (*self._since.values, 0.0, self._pushed_out, "could not be written in time")
            lines.append(LogLine("gap", ("log", *lost)))
        return lines

    def written(self) -> None:
        """All of it is on the disk."""
        self._lines.clear()
        self._levels.clear()
        self._newest.clear()
        self._since = None
        self._pushed_out = 0


class SessionWriter:
    """The log of one session, open from now to `close`. No call but `close` waits for the disk."""

    def __init__(
        self,
        path: Path,
        clock: Callable[[], float] = time.monotonic,
        backlog: Backlog | None = None,
    ) -> None:
        self._path = path
        self._clock = clock
        self._wake = threading.Condition()
        self._incoming: list[tuple[Sequence[LogLine], Stamp]] = []
        self._backlog = backlog or Backlog()
        self._connection: sqlite3.Connection | None = None
        self._saved_at = clock()
        self._problem = ""
        self._waiting = 0
        self._stamp = Stamp(0.0, 0, 0, "")
        self._urgent = self._closing = False
        self._thread = threading.Thread(target=self._run, name="session log", daemon=True)
        self._thread.start()

    def write(self, lines: Sequence[LogLine], stamp: Stamp, *, now: bool = False) -> None:
        """Hand lines over; `now` for what must not wait for the next round."""
        with self._wake:
            self._incoming.append((lines, stamp))
            if now:
                self._urgent = True
                self._wake.notify()

    def state(self) -> LogState:
        """How long ago all was saved, what keeps the log from being written, what waits."""
        return LogState(self._clock() - self._saved_at, self._problem, self._waiting)

    def close(self) -> None:
        """Write what waits, as far as the disk lets it, and let go of the file."""
        with self._wake:
            self._closing = True
            self._wake.notify()
        self._thread.join(CLOSE_S)

    def _run(self) -> None:
        while True:
            with self._wake:
                pause_s = RETRY_S if self._problem else WRITE_S
                self._wake.wait_for(lambda: self._closing or self._is_urgent(), pause_s)
                closing, self._urgent = self._closing, False
                incoming, self._incoming = self._incoming, []
            for lines, stamp in incoming:
                self._backlog.add(lines, stamp)
                self._stamp = stamp
            self._write()
            if closing:
                self._let_go()
                return

    def _is_urgent(self) -> bool:
        return self._urgent and not self._problem

    def _write(self) -> None:
        begun = self._clock()
        try:
            if self._connection is None:
                self._connection = open_to_write(self._path)
            lines = self._backlog.lines()
            if lines:
                _write_all(self._connection, lines, self._stamp)
                self._backlog.written()
            elif self._problem:
                self._connection.execute("PRAGMA user_version").fetchone()
        except (sqlite3.Error, OSError, NotALogError) as error:
            self._problem = _plain(error)
            self._let_go()  # opened anew: what is wrong may be the handle
        else:
            self._problem = ""
            self._saved_at = begun
        self._waiting = len(self._backlog)

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
                connection.execute(INSERTS[line.kind], line.values)
            except sqlite3.IntegrityError:
                refused += 1
        if refused:
            values = ("log", *stamp.values, 0.0, refused, "refused: their incident was pushed out")
            connection.execute(INSERTS["gap"], values)
        connection.execute("COMMIT")
    except BaseException:
        with suppress(sqlite3.Error):
            connection.execute("ROLLBACK")
        raise


def _plain(error: Exception) -> str:
    return " ".join(str(error).split())
