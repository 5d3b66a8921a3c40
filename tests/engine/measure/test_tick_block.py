"""Ticks that are looked at together, and what is made of them ahead."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from engine.measure.tick_block import Ahead, TickBlock, rows_up_to
from engine.model.messages import Measurement
from tests.support.signals import noise, scene
from tests.support.watching import measurements

RATE = 48_000
TICKS = [m for m, _ in measurements(noise(-30.0, 1.0, RATE, seed=3, tracks=2), scene(2))]


def test_a_field_is_that_of_each_tick() -> None:
    """The ticks along the first axis, and made once."""
    block = TickBlock(TICKS)
    assert np.array_equal(block.field("peak"), [m.peak for m in TICKS])
    assert block.field("peak") is block.field("peak")
    assert np.array_equal(TickBlock(TICKS[:1]).field("peak"), [TICKS[0].peak])


def test_the_sound_is_that_of_each_tick() -> None:
    """Wherever it lies: each tick by itself, or all in one piece, which is not copied."""
    apart = TickBlock(TICKS).sound
    assert np.array_equal(apart, [m.samples.T for m in TICKS])
    whole = np.concatenate([m.samples.T for m in TICKS], axis=1)
    spans = [whole[:, n * 4800 : (n + 1) * 4800] for n in range(len(TICKS))]
    together = TickBlock([_with(m, one.T) for m, one in zip(TICKS, spans, strict=True)]).sound
    assert np.array_equal(together, apart)
    assert np.shares_memory(together, whole)
    uneven = [TICKS[n] for n in (0, 3, 1)]
    assert np.array_equal(TickBlock(uneven).sound, [m.samples.T for m in uneven])


def _with(m: Measurement, samples: np.ndarray) -> Measurement:
    fields = {name: getattr(m, name) for name in Measurement.__slots__}
    return Measurement(**{**fields, "samples": samples})


@given(spoken_of=st.sets(st.integers(0, 9)), asked=st.sets(st.integers(0, 9)))
def test_a_part_is_that_of_its_tick(spoken_of: set[int], asked: set[int]) -> None:
    """Whichever ticks were spoken of before, and whichever are asked for after all."""
    made: list[int] = []

    def make(block: TickBlock) -> list[float]:
        made.append(len(block.ticks))
        return [m.start_s for m in block.ticks]

    ahead = Ahead(make)
    ahead.look(TickBlock([TICKS[n] for n in sorted(spoken_of)]))
    for n in sorted(asked):
        assert ahead.of(TICKS[n]) == TICKS[n].start_s
    assert set(made[1:]) <= {1}
    assert len(made) <= 1 + len(asked)


@given(rows=st.integers(1, 20), count=st.integers(1, 12))
def test_the_newest_rows_are_those_up_to_each(rows: int, count: int) -> None:
    """Each with the ones before it, where there are so many."""
    values = np.arange(3.0 * (rows + count)).reshape(-1, 3)[: rows + count - 1]
    view = rows_up_to(values, count)
    assert view.shape == (rows, count, 3)
    assert all(np.array_equal(view[n], values[n : n + count]) for n in range(rows))
