"""The queue between audio thread and worker loses nothing silently."""

from __future__ import annotations

import threading

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.sources.block_queue import BlockQueue

STEP = st.one_of(
    st.tuples(st.just("put"), st.integers(0, 12)),
    st.tuples(st.just("take"), st.integers(1, 12)),
    st.tuples(st.just("lose"), st.integers(1, 5)),
)


def numbered(start: int, frames: int) -> np.ndarray:
    """Frames that carry their own number; channel 2 carries its negative."""
    numbers = np.arange(start, start + frames, dtype=np.float32)
    return np.stack([numbers, -numbers], axis=1)


@settings(max_examples=300)
@given(capacity=st.integers(1, 20), steps=st.lists(STEP, max_size=200))
def test_every_frame_is_delivered_in_order_or_counted_where_it_was_lost(capacity, steps):
    """Each delivered frame's number is that of the frame before, plus one, plus frames lost."""
    queue = BlockQueue(2, capacity)
    made = seen = 0

    def take(frames: int) -> bool:
        nonlocal seen
        block = queue.take(frames)
        if block is None:
            return False
        seen += block.lost_frames
        np.testing.assert_array_equal(block.samples, numbered(seen, len(block.samples)))
        assert 1 <= len(block.samples) <= frames
        assert block.samples.T.flags.c_contiguous
        seen += len(block.samples)
        return True

    for what, frames in steps:
        if what == "put":
            fits = frames <= capacity - queue.waiting_frames
            stored = queue.put(numbered(made, frames))
            assert fits or not stored
            made += frames
        elif what == "lose":
            queue.lose(frames)
            made += frames
        else:
            take(frames)
    while take(100):
        pass
    queue.put(numbered(made, 1))
    assert take(1)
    assert seen == made + 1


def test_more_gaps_than_can_be_marked_are_still_counted():
    """With every mark in use, blocks are dropped and counted; no gap is forgotten."""
    queue = BlockQueue(1, 10_000)
    made = 0
    for _ in range(200):
        queue.lose(3)
        queue.put(np.zeros((2, 1), dtype=np.float32))
        made += 5
    told = 0
    while (block := queue.take(10_000)) is not None:
        told += block.lost_frames + len(block.samples)
    queue.put(np.zeros((2, 1), dtype=np.float32))
    last = queue.take(10)
    assert told + last.lost_frames + len(last.samples) == made + 2


def test_two_threads_agree_on_every_frame():
    """With producer and consumer on threads of their own the account still balances."""
    queue = BlockQueue(2, 5_000)
    total, sizes = 200_000, np.random.default_rng(3).integers(1, 700, 10_000)
    done = threading.Event()

    def produce() -> None:
        made = 0
        for size in map(int, sizes):
            if made + size > total:
                break
            queue.put(numbered(made, size))
            made += size
        done.set()

    thread = threading.Thread(target=produce)
    thread.start()
    seen = 0
    while True:
        finished = done.is_set()
        block = queue.take(1_000)
        if block is None and finished:
            break
        if block is not None:
            seen += block.lost_frames
            np.testing.assert_array_equal(block.samples, numbered(seen, len(block.samples)))
            seen += len(block.samples)
    thread.join()
    assert seen > 0


@pytest.mark.parametrize(("channels", "frames"), [(0, 1), (1, 0)])
def test_a_queue_of_nothing_is_refused(channels, frames):
    """No channels or no room is a programming error."""
    with pytest.raises(ValueError, match="at least one"):
        BlockQueue(channels, frames)


def test_memory_that_no_worker_is_late_for_is_never_touched() -> None:
    """A queue that is emptied each time stays at the front of its memory, whatever its length."""
    queue = BlockQueue(2, 1000)
    for number in range(300):
        queue.put(numbered(number * 10, 10) + 1.0)
        assert queue.take(100) is not None
    assert queue._ring[:10].all()
    assert not queue._ring[10:].any()
