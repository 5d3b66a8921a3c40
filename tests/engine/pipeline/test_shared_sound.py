"""Samples that two processes see."""

from __future__ import annotations

import copy
import multiprocessing
from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.model.tick import Tick
from engine.pipeline.framing import TickFramer
from engine.pipeline.shared_sound import SLOTS, SharedSound
from tests.support.signals import scene
from tests.support.strategies import untimed

TRACKS, RATE_HZ, MOST = 3, 8_000, 4
TICK_FRAMES = RATE_HZ // 10


@pytest.fixture
def ends() -> Iterator[tuple[SharedSound, SharedSound]]:
    """The end that writes and the one that reads."""
    writes, reads = _ends()
    yield writes, reads
    writes.begin_reading()
    reads.close()


def _ends() -> tuple[SharedSound, SharedSound]:
    sound = SharedSound(multiprocessing.get_context(), TRACKS, TICK_FRAMES, MOST)
    return sound, copy.copy(sound)


def _ticks(number: int, seed: int = 0) -> list[Tick]:
    sound = np.random.default_rng(seed).standard_normal((number * TICK_FRAMES, TRACKS))
    return list(TickFramer(scene(TRACKS, RATE_HZ)).feed(sound.astype(np.float32)))


@untimed
@given(numbers=st.lists(st.integers(1, MOST), min_size=1, max_size=4 * SLOTS))
def test_samples_come_over_as_they_were(numbers: list[int]) -> None:
    """Whatever number of ticks crosses at a time, slot after slot."""
    writes, reads = _ends()
    for seed, number in enumerate(numbers):
        ticks = _ticks(number, seed)
        writes.write(ticks)
        sound = reads.read(number)
        assert sound.shape == (number, TRACKS, TICK_FRAMES)
        for came, tick in zip(sound, ticks, strict=True):
            np.testing.assert_array_equal(came.T, tick.measurement.samples)
    writes.begin_reading()
    reads.close()


def test_what_was_read_stays(ends: tuple[SharedSound, SharedSound]) -> None:
    """Who keeps a view of the samples finds them unchanged when the slot is used again."""
    writes, reads = ends
    writes.write(_ticks(1))
    first = reads.read(1)
    expected = first.copy()
    for seed in range(1, 2 * SLOTS):
        writes.write(_ticks(1, seed))
        assert not np.array_equal(reads.read(1), expected)
    np.testing.assert_array_equal(first, expected)


def test_who_writes_notices_that_nobody_reads(ends: tuple[SharedSound, SharedSound]) -> None:
    """Without a free slot and without anybody to give one back it ends, as at a broken pipe."""
    writes, _ = ends
    writes.begin_writing()
    for _ in range(SLOTS):
        writes.write(_ticks(1))
    with pytest.raises(BrokenPipeError):
        writes.write(_ticks(1))
