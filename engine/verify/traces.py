"""Levels over time of a session and of a take, fine enough to find the one in the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Measurement
from engine.model.units import mean_square_at, rms_dbfs
from engine.session.reader import SessionReader
from engine.session.second_levels import ENVELOPE_STEPS

Trace = NDArray[np.float32]
"""AES17 RMS levels, dBFS, shape (steps, tracks); NaN where unknown."""

QUIETEST_DBFS: Final = -110.0
"""Lower levels are all one: an idle converter."""

_CHUNK: Final = 6000
_STEP_DB: Final = 0.5


@dataclass(frozen=True, slots=True, eq=False)
class SessionTrace:
    """What the watch heard.

    level_dbfs : shape (steps, tracks), column n of `inputs[n]`
    step_s : 0.1 s; 1 s of sessions that an older version logged, which is coarser
    """

    level_dbfs: Trace
    inputs: tuple[int, ...]
    step_s: float

    @property
    def is_coarse(self) -> bool:
        """Only one level a second is known, so a take is placed to about half a second."""
        return self.step_s > 0.5


def session_trace(log: SessionReader) -> SessionTrace:
    """The levels of every track that a session ever watched."""
    inputs = tuple(track.input for track in log.tracks())
    column = {number: n for n, number in enumerate(inputs)}
    seconds = log.seconds()
    fine = np.full((seconds, ENVELOPE_STEPS, len(inputs)), np.nan, dtype=np.float32)
    known = False
    for row in log.envelope(inputs):
        if row.second < seconds:
            fine[row.second][:, [column[n] for n in row.inputs]] = row.rms_dbfs
            known = True
    if known:
        return SessionTrace(_floored(fine.reshape(-1, len(inputs))), inputs, 1.0 / ENVELOPE_STEPS)
    coarse = fine[:, 0].copy()
    for level in log.levels(inputs):
        coarse[level.second, [column[n] for n in level.inputs]] = level.levels[2]
    return SessionTrace(_floored(coarse), inputs, 1.0)


def _floored(level_dbfs: NDArray[np.float32]) -> Trace:
    return np.maximum(level_dbfs, np.float32(QUIETEST_DBFS))  # NaN stays


class TakeTrace:
    """Levels of every channel of a take by hops of 10 ms, a byte each.

    An hour of 16 tracks takes 6 MB.
    """

    def __init__(self, channels: int, hop_s: float) -> None:
        self.hop_s = hop_s
        self._parts: list[NDArray[np.uint8]] = []
        self._part = np.empty((_CHUNK, channels), dtype=np.uint8)
        self._filled = 0

    @classmethod
    def of(
        cls, level_dbfs: Sequence[Sequence[float]] | NDArray[np.float64], hop_s: float
    ) -> TakeTrace:
        """From levels, shape (hops, channels), dBFS."""
        levels = np.asarray(level_dbfs, dtype=np.float64)
        made = cls(levels.shape[1], hop_s)
        made.append(levels)
        return made

    def add(self, m: Measurement) -> None:
        """Take in one tick."""
        self.append(rms_dbfs(m.mean_square))

    def append(self, level_dbfs: NDArray[np.float64]) -> None:
        """Take in the next hops, shape (hops, channels), dBFS."""
        steps = (np.maximum(level_dbfs, QUIETEST_DBFS) - QUIETEST_DBFS) / _STEP_DB
        codes = np.clip(np.rint(steps), 0, 255).astype(np.uint8)
        while len(codes):
            room = codes[: _CHUNK - self._filled]
            self._part[self._filled : self._filled + len(room)] = room
            self._filled += len(room)
            codes = codes[len(room) :]
            if self._filled == _CHUNK:
                self._parts.append(self._part)
                self._part, self._filled = np.empty_like(self._part), 0

    @property
    def hops(self) -> int:
        """How many hops there are."""
        return _CHUNK * len(self._parts) + self._filled

    @property
    def duration_s(self) -> float:
        """Length of the take, s."""
        return self.hops * self.hop_s

    @property
    def channels(self) -> int:
        """How many channels the take has."""
        return int(self._part.shape[1])

    def stretched(self, times: float) -> TakeTrace:
        """The same take so many times as long, in hops of the same length.

        A hop of the made trace gets the mean power of what lies in it, so edges between hops
        that fall inside it are worked out to the fraction.
        """
        made = TakeTrace(self.channels, self.hop_s)
        whole = int(self.hops * times)
        for first in range(0, whole, _CHUNK):
            edges = np.arange(first, min(first + _CHUNK, whole) + 1) / times
            begin = int(edges[0])
            power = mean_square_at(self.levels(begin, min(int(edges[-1]) + 2, self.hops) - begin))
            sums = np.concatenate([np.zeros((1, self.channels)), np.cumsum(power, axis=0)])
            at = np.minimum(edges - begin, len(power))
            low = np.minimum(at.astype(int), len(power) - 1)
            reached = sums[low] + (at - low)[:, None] * power[low]
            made.append(rms_dbfs(np.diff(reached, axis=0) * times))
        return made

    def levels(self, first_hop: int = 0, steps: int | None = None, hops_a_step: int = 1) -> Trace:
        """RMS of `steps` steps of so many hops each from `first_hop` on, shape (steps, channels).

        NaN before the take's begin and after its end.
        """
        if steps is None:
            steps = (self.hops - first_hop) // hops_a_step
        last_hop = first_hop + steps * hops_a_step
        codes = self._codes(max(first_hop, 0), min(last_hop, self.hops))
        level = np.full((steps * hops_a_step, self.channels), np.nan, dtype=np.float32)
        begin = max(-first_hop, 0)
        level[begin : begin + len(codes)] = codes * np.float32(_STEP_DB) + np.float32(QUIETEST_DBFS)
        if hops_a_step == 1:
            return level
        power = mean_square_at(level).reshape(steps, hops_a_step, self.channels).mean(axis=1)
        return rms_dbfs(power).astype(np.float32)

    def _codes(self, first: int, last: int) -> NDArray[np.uint8]:
        parts = [*self._parts, self._part[: self._filled]]
        wanted = (
            range(first // _CHUNK, max(last - 1, 0) // _CHUNK + 1) if last > first else range(0)
        )
        begin = first - (first // _CHUNK) * _CHUNK
        if not wanted:
            return np.empty((0, self.channels), dtype=np.uint8)
        return np.concatenate([parts[n] for n in wanted])[begin : begin + last - first]
