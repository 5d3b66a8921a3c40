"""Reading ahead keeps order, is bounded, and passes errors on."""

from __future__ import annotations

import threading

import numpy as np
import pytest

from engine.model.messages import Block
from engine.sources.base import EndOfTake
from engine.sources.read_ahead import ReadAhead


def block(value: int) -> Block:
    """One frame of that value."""
    return Block(np.full((1, 1), value, dtype=np.float32))


def test_blocks_come_in_order_and_then_the_error():
    """What the producer raised comes after the blocks before it."""
    values = iter(range(5))

    def produce() -> Block:
        value = next(values, None)
        if value is None:
            raise EndOfTake
        return block(value)

    ahead = ReadAhead(produce, 2)
    assert [ahead.get(5.0).samples[0, 0] for _ in range(5)] == [0, 1, 2, 3, 4]
    with pytest.raises(EndOfTake):
        ahead.get(5.0)
    ahead.close()


def test_no_more_is_read_ahead_than_asked_for():
    """The producer waits while `depth` blocks wait, holding one more at most."""
    calls, reached = [], threading.Event()

    def produce() -> Block:
        calls.append(1)
        if len(calls) == 3:
            reached.set()
        return block(0)

    ahead = ReadAhead(produce, 2)
    assert reached.wait(5.0)
    assert len(calls) == 3
    ahead.close()


def test_nothing_in_time_is_none():
    """A producer that hangs gives None, so that the runner stays in charge."""
    release = threading.Event()

    def produce() -> Block:
        release.wait()
        return block(0)

    ahead = ReadAhead(produce, 2)
    assert ahead.get(0.01) is None
    release.set()
    ahead.close()
