"""A take in real time, on a clock that only the test moves."""

from __future__ import annotations

from contextlib import suppress

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.model.messages import Block
from engine.sources.base import EndOfTake, Source, SourceInfo
from engine.sources.paced import Paced
from engine.sources.synthetic import ArraySource


class Clock:
    """Time that only sleeping moves."""

    def __init__(self) -> None:
        self.now = 500.0

    def __call__(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        """Pass that time."""
        self.now += seconds


def paced(source: Source, speed: float = 1.0) -> tuple[Paced, Clock]:
    """That source, held back."""
    clock = Clock()
    return Paced(source, speed, clock, clock.sleep), clock


def take(seconds: float = 2.0, block: int = 480) -> ArraySource:
    """A take of one track whose samples count up."""
    frames = round(seconds * 48_000)
    return ArraySource(np.arange(frames, dtype=np.float32)[:, None], 48_000, block)


def read_all(source: Paced, timeout_s: float = 0.05) -> list[Block]:
    """Every block to the end."""
    blocks = []
    with suppress(EndOfTake):
        while True:
            block = source.read(timeout_s)
            if block is not None:
                blocks.append(block)
    return blocks


@given(st.floats(0.1, 50.0), st.integers(100, 5000), st.floats(0.001, 1.0))
def test_a_take_lasts_as_long_as_its_speed_says(speed: float, block: int, timeout_s: float) -> None:
    """Whatever blocks and patience, all frames come in order and take their time."""
    source, clock = paced(take(0.5, block), speed)
    blocks = read_all(source, timeout_s)
    np.testing.assert_array_equal(
        np.concatenate([b.samples for b in blocks])[:, 0], np.arange(24_000, dtype=np.float32)
    )
    assert clock.now - 500.0 == pytest.approx(0.5 / speed, rel=1e-6)


def test_no_block_comes_before_its_end_is_due() -> None:
    """A block is handed out when its last frame has been played, not before."""
    source, clock = paced(take(block=4800))
    assert source.read(0.05) is None
    assert clock.now == pytest.approx(500.05)
    assert source.read(0.06) is not None
    assert clock.now == pytest.approx(500.1)


def test_after_a_pause_it_catches_up_without_losing_a_frame() -> None:
    """A reader that was away for a second gets all that was due at once."""
    source, clock = paced(take())
    assert source.read(0.05) is not None
    clock.now += 1.0
    before = clock.now
    for _ in range(100):
        assert source.read(0.05) is not None
    assert clock.now == before


def test_lost_frames_take_their_time_too() -> None:
    """A gap told by the take is as long as it would have been."""

    class Gap:
        info = SourceInfo("gap", 48_000, 1, ("",))

        def read(self, timeout_s: float) -> Block:
            return Block(np.zeros((480, 1), dtype=np.float32), lost_frames=480)

        def close(self) -> None:
            pass

    source, clock = paced(Gap())
    source.read(1.0)
    assert clock.now == pytest.approx(500.02)


def test_a_source_that_has_nothing_yet_is_passed_on() -> None:
    """None of the source behind is None here, and costs no extra wait."""

    class Nothing:
        info = SourceInfo("nothing", 48_000, 1, ("",))
        closed = False

        def read(self, timeout_s: float) -> None:
            return None

        def close(self) -> None:
            self.closed = True

    behind = Nothing()
    source, clock = paced(behind)
    assert source.read(0.05) is None
    assert clock.now == 500.0
    source.close()
    assert behind.closed
