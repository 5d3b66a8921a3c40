"""Bounded queue of audio between one producer and one consumer, on memory set aside beforehand."""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.model.messages import Block, Samples

_MARKS: Final = 64
"""Gaps that can wait at once; with more of them waiting, blocks count as lost too."""


class BlockQueue:
    """Ring of audio frames that counts what it had to drop and knows where.

    One thread may call `put` and `lose`, one other `take`; there is no lock. Each side writes
    only its own counter, and only after the samples it speaks of are in place. An empty queue
    begins anew at the front of its memory, which the other side has no frame to look for in.

    Parameters
    ----------
    channels : int
    capacity_frames : int
        Frames the ring holds; a block that does not fit whole is dropped and counted.
    """

    def __init__(self, channels: int, capacity_frames: int) -> None:
        if channels < 1 or capacity_frames < 1:
            raise ValueError("a block queue needs at least one channel and one frame")
        self._ring: Samples = np.zeros((capacity_frames, channels), dtype=np.float32)
        # One row a gap: the frame before which it lies, and its length.
        self._marks = np.zeros((_MARKS, 2), dtype=np.int64)
        self._written = self._marks_written = 0
        self._taken = self._marks_taken = 0
        self._front = 0
        """The frame that lies at the ring's begin."""
        self._pending_lost = 0

    @property
    def waiting_frames(self) -> int:
        """Frames that can be taken now."""
        return self._written - self._taken

    def lose(self, frames: int) -> None:
        """Say that so many frames never reached the queue; they lie before the next block."""
        self._pending_lost += frames

    def put(self, samples: Samples) -> bool:
        """Copy a block of shape (frames, channels) in; False where it did not fit."""
        frames = len(samples)
        capacity = len(self._ring)
        full = frames > capacity - (self._written - self._taken)
        marks_full = self._marks_written - self._marks_taken == _MARKS
        if full or (self._pending_lost and marks_full):
            self._pending_lost += frames
            return False
        if not frames:
            return True
        if self._taken == self._written:  # what no worker is late for is never touched
            self._front = self._written
        start = (self._written - self._front) % capacity
        first = min(frames, capacity - start)
        self._ring[start : start + first] = samples[:first]
        self._ring[: frames - first] = samples[first:]
        if self._pending_lost:
            self._marks[self._marks_written % _MARKS] = (self._written, self._pending_lost)
            self._marks_written += 1
            self._pending_lost = 0
        self._written += frames
        return True

    def take(self, max_frames: int) -> Block | None:
        """The oldest frames up to the next gap, at most `max_frames`; None where none wait.

        The samples are a copy, contiguous along frames. Frames lost after the last block put are
        told with the next one.
        """
        # The counter of frames is read first: every mark of those frames is then in place.
        end = min(self._written, self._taken + max_frames)
        if end == self._taken:
            return None
        lost = 0
        while self._marks_taken < self._marks_written:
            at_frame, frames = (int(n) for n in self._marks[self._marks_taken % _MARKS])
            if at_frame > self._taken:
                end = min(end, at_frame)
                break
            lost += frames
            self._marks_taken += 1
        start = (self._taken - self._front) % len(self._ring)
        count = end - self._taken
        samples: Samples = np.empty((self._ring.shape[1], count), dtype=np.float32).T
        first = min(count, len(self._ring) - start)
        samples[:first] = self._ring[start : start + first]
        samples[first:] = self._ring[: count - first]
        self._taken = end
        return Block(samples, lost)
