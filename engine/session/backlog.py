"""Lines of the session log that are not on the disk yet: bounded in memory, safe from a crash.

While the disk is full, read-only or hangs, lines wait here. Beyond the bounds the oldest levels go
first, then the oldest other lines, and one gap says how many of what; incidents always stay. A
`Spool` keeps what waits in the runtime directory, so that the next engine finds it.
"""

from __future__ import annotations

import os
import struct
from collections import Counter, deque
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import msgspec

_LEVELS: Final = ("level", "envelope")
"""Each has a line a second."""

WAITING_LEVELS: Final = len(_LEVELS) * 4 * 3600
"""Lines of level history that may wait in memory: four hours."""

WAITING_LINES: Final = 20_000

NEWEST_SAYS_ALL: Final = ("kept", "stretch")
"""Of these kinds only the newest line waits."""

SPOOL_BYTES: Final = 64 * 2**20
"""The runtime directory is memory: no more than this of it. Ours."""

_LENGTH: Final = struct.Struct("<I")


@dataclass(frozen=True, slots=True)
class LogLine:
    """One row to write: `kind` is a key of `schema.INSERTS`."""

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
    """Lines not written yet, bounded; the oldest levels go first and are counted."""

    def __init__(self, lines: int = WAITING_LINES, levels: int = WAITING_LEVELS) -> None:
        self._most_lines, self._most_levels = lines, levels
        self._lines: deque[LogLine] = deque()
        self._levels: deque[LogLine] = deque()
        self._incidents: dict[int, LogLine] = {}
        self._newest: dict[str, LogLine] = {}
        self._pushed_out: Counter[str] = Counter()
        self._since: Stamp | None = None

    def __len__(self) -> int:
        return sum(map(len, (self._lines, self._levels, self._incidents, self._newest)))

    def add(self, lines: Sequence[LogLine], stamp: Stamp) -> None:
        """Take lines in; `stamp` is when they came."""
        for line in lines:
            if line.kind in NEWEST_SAYS_ALL:
                self._newest[line.kind] = line
            elif line.kind == "incident":
                self._incidents[line.values[0]] = line
            elif line.kind in _LEVELS:
                self._levels.append(line)
                if len(self._levels) > self._most_levels:
                    self._push_out(self._levels, stamp)
            else:
                self._lines.append(line)
                if len(self._lines) > self._most_lines:
                    self._push_out(self._lines, stamp)

    def _push_out(self, queue: deque[LogLine], stamp: Stamp) -> None:
        self._pushed_out[queue.popleft().kind] += 1
        self._since = self._since or stamp

    def lines(self) -> list[LogLine]:
        """All that waits, in the order to write; last a gap for what was pushed out."""
        # An incident before its changes, which refer to it.
        waiting = [*self._incidents.values(), *self._lines, *self._levels, *self._newest.values()]
        if self._since is not None:
            what = ", ".join(f"{count} × {kind}" for kind, count in self._pushed_out.items())
            reason = f"could not be written in time: {what}"
            values = (*self._since.values, 0.0, self._pushed_out.total(), reason)
            waiting.append(LogLine("gap", ("log", *values)))
        return waiting

    def written(self) -> None:
        """All of it is on the disk."""
        for queue in (self._lines, self._levels, self._incidents, self._newest, self._pushed_out):
            queue.clear()
        self._since = None

    def move_to(self, other: Backlog, stamp: Stamp) -> list[LogLine]:
        """Hand all of it over to another backlog, and return it."""
        moved = self.lines()
        other.add(moved, stamp)
        self.written()
        return moved


class Spool:
    """Lines that could not be written, in files that outlive the engine but not the machine.

    Of kinds where the newest line says all, a second file beside the first holds just that.
    """

    def __init__(self, file: Path) -> None:
        self._file = file
        self._newest_file = file.with_suffix(".newest")
        self._newest: dict[str, LogLine] = {}

    def append(self, lines: Sequence[LogLine]) -> None:
        """Keep them as well, within bounds; a spool that can't be written is done without."""
        newest = {line.kind: line for line in lines if line.kind in NEWEST_SAYS_ALL}
        others = [line for line in lines if line.kind not in NEWEST_SAYS_ALL]
        with suppress(OSError, TypeError, ValueError, OverflowError):
            if others:
                self._add(_record(others))
            if newest:
                self._newest |= newest
                self._replace(_record([*self._newest.values()]))

    def _add(self, record: bytes) -> None:
        handle = os.open(self._file, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        with os.fdopen(handle, "ab") as file:
            if file.seek(0, os.SEEK_END) + len(record) < SPOOL_BYTES:
                file.write(record)

    def _replace(self, record: bytes) -> None:
        fresh = self._newest_file.with_suffix(".fresh")
        handle = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(record)
        os.replace(fresh, self._newest_file)

    def lines(self) -> list[LogLine]:
        """All that was kept, oldest first; what a crash cut off is left out."""
        lines: list[LogLine] = []
        for file in (self._file, self._newest_file):
            with suppress(OSError):
                records = _records(file.read_bytes())
                lines += [LogLine(kind, tuple(values)) for kind, values in records]
        return lines

    def clear(self) -> None:
        """All of it is on the disk."""
        self._newest.clear()
        for file in (self._file, self._newest_file):
            with suppress(OSError):
                file.unlink(missing_ok=True)


def _record(lines: Sequence[LogLine]) -> bytes:
    data = msgspec.msgpack.encode([(line.kind, line.values) for line in lines])
    return _LENGTH.pack(len(data)) + data


def _records(data: bytes) -> Iterator[tuple[str, list[Any]]]:
    at = 0
    while at + _LENGTH.size <= len(data):
        (length,) = _LENGTH.unpack_from(data, at)
        at += _LENGTH.size
        try:
            yield from msgspec.msgpack.decode(
                data[at : at + length], type=list[tuple[str, list[Any]]]
            )
        except msgspec.MsgspecError:
            return
        at += length
