"""A session's log opened for reading: one moment of it; what is wrong where it can't be read."""

from __future__ import annotations

import sqlite3
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from engine.model.safe_text import harmless
from engine.session import folders
from engine.session.schema import NotALogError, open_to_read

_LONGEST_REASON: Final = 200
_DAMAGE: Final = (
    sqlite3.Error,
    ValueError,
    TypeError,
    LookupError,
    ArithmeticError,
    AttributeError,
    MemoryError,
    RecursionError,
)
"""What a value that makes no sense can lead to, wherever it is read."""


class LogFile:
    """One moment of the log of the session in that folder, even while it grows.

    Raises
    ------
    NotALogError
        Anywhere in the block, where the log is torn, foreign or can't be read.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._path = folder / folders.LOG

    def __enter__(self) -> Self:
        try:
            self._log = open_to_read(self._path)
            self._log.execute("BEGIN")
        except (sqlite3.Error, OverflowError, ValueError) as error:
            raise self._unreadable(error) from error
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._log.close()
        if isinstance(error, _DAMAGE) and not isinstance(error, NotALogError):
            raise self._unreadable(error) from error

    def _unreadable(self, error: BaseException) -> NotALogError:
        why = " ".join(f"{error}".split())[:_LONGEST_REASON]
        line = f"{self._path}: torn, or can't be read ({why}); left alone"
        return NotALogError(harmless(line))

    def _rows(self, query: str, *values: object) -> list[tuple[Any, ...]]:
        return self._log.execute(query, values).fetchall()

    def _one(self, query: str, *values: object) -> Any:
        """The one value that the query gives."""
        return self._log.execute(query, values).fetchone()[0]

    @cached_property
    def _tables(self) -> frozenset[str]:
        """Older logs lack some."""
        return frozenset(row[0] for row in self._rows("SELECT name FROM sqlite_schema"))
