"""Timecode of any moment of a session, from the labels that stand in its log."""

from __future__ import annotations

import sqlite3
from bisect import bisect_right
from contextlib import closing
from fractions import Fraction
from pathlib import Path
from typing import Final

from engine.model.frame_rates import FRAME_RATES, frame_at
from engine.session import folders
from engine.session.schema import NotALogError, open_to_read

_TABLES: Final = ("change", "action", "mark", "gap")
_SAME_FRAMES: Final = 1


class LoggedTimecode:
    """Labels by the reference of the session, or by the nearest logged one where that differs.

    Where a timecode track was followed, labels between those of the log are counted on from the
    one before, and may be a frame off.
    """

    def __init__(self, log: sqlite3.Connection, start_s: float, frame_rate: str) -> None:
        self._rate = FRAME_RATES[frame_rate]
        self._start_s = Fraction(start_s)
        found: dict[float, int] = {}
        for table in _TABLES:
            for at_s, label in log.execute(f"SELECT at_s, timecode FROM {table}"):
                try:
                    found[at_s] = self._rate.frame(label)
                except ValueError:
                    continue  # counted another way for a while: the reference stands in
        self._at_s = sorted(found)
        self._off = [self._difference(at_s, found[at_s]) for at_s in self._at_s]

    def _difference(self, at_s: float, frame: int) -> int:
        """Frames that the logged label is ahead of the reference; 0 for rounding."""
        day = self._rate.frames_per_day
        ahead = (frame - self._frame(at_s) + day // 2) % day - day // 2
        return 0 if abs(ahead) <= _SAME_FRAMES else ahead

    def _frame(self, at_s: float) -> int:
        return frame_at(float(self._start_s + Fraction(at_s)), self._rate)

    def __call__(self, at_s: float) -> str:
        """The label of that stream time."""
        place = max(bisect_right(self._at_s, at_s) - 1, 0)
        ahead = self._off[place] if self._off else 0
        return self._rate.label(self._frame(at_s) + ahead)

    def origin(self, reference: str) -> str:
        """Where labels come from, in words."""
        followed = any(self._off)
        return f"the timecode track, else {reference}" if followed else reference


def labels_of(folder: Path) -> LoggedTimecode:
    """The labels of the session in that folder, as its report has them.

    Raises
    ------
    NotALogError, sqlite3.Error
        Where its log is torn, foreign, can't be read or holds no session yet.
    """
    with closing(open_to_read(folder / folders.LOG)) as log:
        row = log.execute("SELECT start_s, frame_rate FROM session").fetchone()
        if row is None:
            raise NotALogError(f"{folder}: broke off before it began")
        return LoggedTimecode(log, *row)
