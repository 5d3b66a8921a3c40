"""A take in real time: the same blocks, each handed out when its time has come."""

from __future__ import annotations

from collections.abc import Callable

from engine.model.messages import Block
from engine.sources.base import Source


class Paced:
    """Holds back the blocks of another source to `speed` times real time.

    `clock` gives seconds on a steady scale and `sleep` waits; tests pass their own.
    """

    def __init__(
        self,
        source: Source,
        speed: float,
        clock: Callable[[], float],
        sleep: Callable[[float], None],
    ) -> None:
        self.info = source.info
        self._source = source
        self._speed = speed
        self._clock = clock
        self._sleep = sleep
        self._started_s: float | None = None
        self._frames = 0
        self._next: Block | None = None

    def read(self, timeout_s: float) -> Block | None:
        """The next block once it is due; None where it is not due within `timeout_s`."""
        if self._next is None:
            self._next = self._source.read(timeout_s)
            if self._next is None:
                return None
        if self._started_s is None:
            self._started_s = self._clock()
        block = self._next
        end = self._frames + len(block.samples) + block.lost_frames
        due_s = self._started_s + end / self.info.sample_rate_hz / self._speed
        wait_s = due_s - self._clock()
        if wait_s > timeout_s:
            self._sleep(timeout_s)
            return None
        if wait_s > 0.0:
            self._sleep(wait_s)
        self._frames, self._next = end, None
        return block

    def close(self) -> None:
        """Close the source it holds back."""
        self._source.close()
