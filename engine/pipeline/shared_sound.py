"""Samples of ticks in memory that two processes see: they cross over without being sent.

Samples are nearly all of what a tick weighs. One process writes them into one of a few slots and
sends the rest of the ticks by a pipe, the other reads them once that has arrived, and gives the
slot back by another pipe.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress
from typing import Any, Final

import numpy as np

from engine.model.messages import Samples
from engine.model.tick import Tick

SLOTS: Final = 3
"""One is written and one read while one is on its way."""
_BACK: Final = b"."


class SharedSound:
    """Slots for the samples of up to `ticks` ticks each; made by the process that reads.

    Parameters
    ----------
    context : multiprocessing context
        Of the process that is to write; it gets the whole object as it is started.
    tracks, tick_frames, ticks : int
    """

    def __init__(self, context: Any, tracks: int, tick_frames: int, ticks: int) -> None:
        self._shape = (SLOTS, ticks, tracks, tick_frames)
        self._memory = context.RawArray("f", math.prod(self._shape))
        self._back, self._give_back = context.Pipe(duplex=False)
        self._next = self._out = 0

    def begin_reading(self) -> None:
        """This process reads, now that the other one has started."""
        self._back.close()

    def begin_writing(self) -> None:
        """This process writes: it is to notice when nobody has the other end any more."""
        self._give_back.close()

    @property
    def _slots(self) -> Samples:
        return np.frombuffer(self._memory, dtype=np.float32).reshape(self._shape)

    def write(self, ticks: Sequence[Tick]) -> None:
        """Put the samples of the ticks into the next slot; waits until one is free.

        Raises
        ------
        BrokenPipeError
            Where the process that reads has gone.
        """
        if self._out == SLOTS:
            self._take_back()
        slot = self._slots[self._next]
        for place, tick in zip(slot, ticks, strict=False):
            place[:] = tick.measurement.samples.T
        self._next = (self._next + 1) % SLOTS
        self._out += 1

    def _take_back(self) -> None:
        try:
            self._back.recv_bytes()
        except EOFError:
            raise BrokenPipeError from None
        self._out -= 1

    def read(self, ticks: int) -> Samples:
        """The samples of the next so many ticks, shape (ticks, tracks, frames).

        In memory of their own: who sees them may keep it.
        """
        sound = self._slots[self._next, :ticks].copy()
        self._next = (self._next + 1) % SLOTS
        with suppress(OSError):  # who wrote the last of it may have ended
            self._give_back.send_bytes(_BACK)
        return sound

    def close(self) -> None:
        """Nothing more is read."""
        self._give_back.close()
