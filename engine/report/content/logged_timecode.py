"""Timecode of any moment of a session, from the labels that stand in its log."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from typing import Final

from engine.model.frame_rates import FRAME_RATES, frame_at, frame_of_day
from engine.session.reader import SessionReader
from engine.session.schema import NotALogError

_SAME_FRAMES: Final = 1


class LoggedTimecode:
    """Labels by the reference of the session, or by the nearest logged one where that differs.

    `labels` are the logged ones with their moments, in any order; the reference of a `live` session
    is the time of day.

    Where a timecode track was followed, labels between those of the log are counted on from the
    one before, and may be a frame off.
    """

    def __init__(
        self, labels: Iterable[tuple[float, str]], start_s: float, frame_rate: str, *, live: bool
    ) -> None:
        self._rate = FRAME_RATES[frame_rate]
        self._frame_at = frame_of_day if live else frame_at
        self._start_s = Fraction(start_s)
        logged: dict[float, int] = {}
        for at_s, label in labels:
            try:
                logged[at_s] = self._rate.frame(label)
            except ValueError:
                continue  # counted another way for a while: the reference stands in
        self._at_s = sorted(logged)
        self._ahead = [self._difference(at_s, logged[at_s]) for at_s in self._at_s]

    def _difference(self, at_s: float, frame: int) -> int:
        """Frames that the logged label is ahead of the reference; 0 for rounding."""
        day = self._rate.frames_per_day
        ahead = (frame - self._frame(at_s) + day // 2) % day - day // 2
        return 0 if abs(ahead) <= _SAME_FRAMES else ahead

    def _frame(self, at_s: float) -> int:
        return self._frame_at(float(self._start_s + Fraction(at_s)), self._rate)

    def __call__(self, at_s: float) -> str:
        """The label of that stream time."""
        nearest = max(bisect_right(self._at_s, at_s) - 1, 0)
        ahead = self._ahead[nearest] if self._ahead else 0
        return self._rate.label(self._frame(at_s) + ahead)

    @property
    def followed(self) -> bool:
        """A timecode track was followed, and said something else than the reference."""
        return any(self._ahead)

    def origin(self, reference: str) -> str:
        """Where labels come from, in words."""
        return f"the timecode track, else {reference}" if self.followed else reference


def labels_of(folder: Path) -> LoggedTimecode:
    """The labels of the session in that folder, as its report has them.

    Raises
    ------
    NotALogError
        Where its log is torn, foreign, can't be read or holds no session yet.
    """
    with SessionReader(folder) as log:
        session = log.session()
        if session is None:
            raise NotALogError(f"{folder}: broke off before it began")
        return LoggedTimecode(log.labels(), session.start_s, session.frame_rate, live=session.live)
