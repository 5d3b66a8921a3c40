"""Frames against the clock: what is missing is found, what is only late is not."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.sources.frame_balance import LEAST_LOST_S, FrameBalance
from tests.support.strategies import untimed

RATE = 48_000
BLOCK = 960


class Stream:
    """An interface that delivers blocks of 20 ms, `ppm` fast, each up to `jitter_s` late."""

    def __init__(self, ppm: float = 0.0, jitter_s: float = 0.0, seed: int = 0) -> None:
        self.balance = FrameBalance(RATE)
        self.now_s = 100.0
        self.inserted = 0
        self._rate = RATE * (1.0 + ppm * 1e-6)
        self._jitter_s, self._rng = jitter_s, np.random.default_rng(seed)
        self.ppm: float | None = None

    def run(self, seconds: float) -> None:
        """Deliver for so long."""
        for _ in range(round(seconds * self._rate / BLOCK)):
            self.now_s += BLOCK / self._rate
            late_s = self._rng.uniform(0.0, self._jitter_s)
            self.inserted += self.balance.add(self.now_s + late_s, BLOCK, 0, self.ppm)

    def stop(self, seconds: float, held_s: float, told_s: float = 0.0) -> None:
        """The computer stands still; what its drivers hold of it comes at once afterwards.

        They say that they lost `told_s`.
        """
        self.now_s += seconds
        if told_s:
            self.balance.look_closely(self.now_s)
            told = round(told_s * RATE)
            self.inserted += told + self.balance.add(self.now_s, told, BLOCK, self.ppm)
        held = round(min(held_s, seconds) * self._rate)
        for waiting in range(held - held % BLOCK, 0, -BLOCK):
            self.inserted += self.balance.add(self.now_s, BLOCK, waiting - BLOCK, self.ppm)


@untimed
@given(
    stops=st.lists(
        st.tuples(st.floats(0.3, 60.0), st.floats(0.0, 5.0), st.floats(1.5, 20.0)),
        min_size=1,
        max_size=8,
    ),
    ppm=st.floats(-100.0, 100.0),
    jitter_s=st.floats(0.0, 0.05),
)
def test_what_a_computer_that_stood_still_lost_is_found_within_a_tenth_of_a_second(
    stops: list[tuple[float, float, float]], ppm: float, jitter_s: float
) -> None:
    """Stops of 0.3 to 60 s at random, whatever the drivers hold: all that is missing and no more.

    By hand: of each stop that part which is longer than what was held.
    """
    stream = Stream(ppm, jitter_s)
    stream.run(3.0)
    lost_s = 0.0
    for stop_s, held_s, then_s in stops:
        stream.stop(stop_s, held_s)
        stream.run(then_s)
        lost_s += max(stop_s - min(held_s, stop_s), 0.0)
        found_s = stream.inserted / RATE
        assert found_s <= lost_s + 0.1 * len(stops)
        assert found_s >= lost_s - LEAST_LOST_S - 0.1 * len(stops)


@pytest.mark.parametrize("stop_s", [0.5, 3.0, 30.0])
def test_one_stop_is_right_within_a_tenth_of_a_second(stop_s: float) -> None:
    """With the jitter of a busy computer."""
    stream = Stream(50.0, 0.05)
    stream.run(5.0)
    stream.stop(stop_s, 0.1)
    stream.run(2.0)
    assert stream.inserted / RATE == pytest.approx(stop_s - 0.1, abs=0.1)


@pytest.mark.parametrize("jitter_s", [0.0, 0.02, 0.05])
@pytest.mark.parametrize("untold_s", [0.12, 0.15, 0.19])
def test_what_a_driver_left_out_of_its_count_is_found(untold_s: float, jitter_s: float) -> None:
    """A driver says that it lost 2 s, but it was a little more."""
    stream = Stream(20.0, jitter_s)
    stream.run(10.0)
    stream.stop(2.1 + untold_s, 0.1, told_s=2.0)
    stream.run(4.0)
    assert stream.inserted / RATE == pytest.approx(2.0 + untold_s, abs=0.06)
    stream.run(60.0)
    assert stream.inserted / RATE == pytest.approx(2.0 + untold_s, abs=0.06)


@pytest.mark.parametrize("ppm", [-400.0, -100.0, 100.0, 400.0])
def test_a_crystal_that_is_off_loses_nothing(ppm: float) -> None:
    """For an hour, drift known or not."""
    for known in (None, ppm):
        stream = Stream(ppm, 0.02)
        stream.ppm = known
        stream.run(3600.0 if known is None else 600.0)
        assert stream.inserted == 0


def test_a_drift_that_is_known_may_be_large() -> None:
    """A clock pulled down by 0.1 % (AES11 calls it a pull-down): taken off once it is measured."""
    stream = Stream(-999.0, 0.02)
    stream.ppm = -999.0
    stream.run(900.0)
    assert stream.inserted == 0


@given(late=st.lists(st.floats(0.0, 0.19), min_size=50, max_size=300))
def test_blocks_that_come_late_are_not_lost(late: list[float]) -> None:
    """Any jitter under the least difference."""
    balance = FrameBalance(RATE)
    came = sorted(0.02 * n + one for n, one in enumerate(late))
    assert sum(balance.add(now_s, BLOCK, 0, None) for now_s in came) == 0


def bursts(every_s: float, seconds: float) -> Iterator[tuple[float, int, int]]:
    """A server that hands over in pieces: when, how many frames, how many wait behind."""
    for n in range(1, round(seconds / every_s) + 1):
        frames = round(every_s * RATE)
        for waiting in range(frames - BLOCK, -1, -BLOCK):
            yield n * every_s, BLOCK, waiting


def test_large_pieces_are_not_lost() -> None:
    """Half a second at once, for a minute."""
    balance = FrameBalance(RATE)
    assert sum(balance.add(*piece, None) for piece in bursts(0.5, 60.0)) == 0


@pytest.mark.parametrize("lost_s", [0.15, 0.2, 0.43])
@pytest.mark.parametrize("after_s", [0.0, 0.1, 0.2, 0.6])
def test_what_is_lost_right_after_a_restart_is_found(lost_s: float, after_s: float) -> None:
    """A new input that loses audio at once: all of it, not taken for its usual lateness."""
    stream = Stream(jitter_s=0.03, seed=3)
    assert stream.balance.gap(stream.now_s, BLOCK) == 0
    stream.run(after_s)
    stream.stop(lost_s, held_s=0.0)
    stream.run(4.0)
    assert stream.inserted / RATE == pytest.approx(lost_s, abs=0.06)


@pytest.mark.parametrize("jitter_s", [0.0, 0.05])
def test_a_restart_alone_loses_nothing(jitter_s: float) -> None:
    """A new input in good order, its blocks up to 50 ms late."""
    stream = Stream(jitter_s=jitter_s)
    assert stream.balance.gap(stream.now_s, BLOCK) == 0
    stream.run(20.0)
    assert stream.inserted == 0
