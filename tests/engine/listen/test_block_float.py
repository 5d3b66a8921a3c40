"""8 bits and a step for each block: what is lost, and what is not.

Checked against arithmetic on the values put in.
"""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from engine.listen.block_float import BLOCK, BlockFloat
from tests.support.strategies import untimed

VALUES = st.integers(-32767, 32767)


@untimed
@given(
    values=arrays(np.int16, (2, 5, BLOCK), elements=VALUES),
    bits=st.integers(0, 15),
    first=st.integers(0, 9),
)
def test_no_value_is_off_by_more_than_half_its_step(
    values: np.ndarray, bits: int, first: int
) -> None:
    """The step is the smallest that holds the loudest of the block; quiet blocks are exact."""
    values = values >> bits
    kept = BlockFloat(2, 5)
    kept.put(values, first)
    for row in range(2):
        read = kept.read(row, first * BLOCK, 5 * BLOCK).astype(int).reshape(5, BLOCK)
        peak = np.abs(values[row].astype(int)).max(axis=1)
        step = 2 ** np.maximum(0, np.ceil(np.log2((peak + 1) / 128)).astype(int))
        assert (np.abs(read - values[row]) <= (step // 2)[:, None]).all()
        assert (read == values[row])[peak < 128].all()


@untimed
@given(start=st.integers(0, 5 * BLOCK), count=st.integers(1, 3 * BLOCK))
def test_any_part_reads_as_it_does_in_the_whole(start: int, count: int) -> None:
    """Where a reading begins and ends makes no difference, over the ring's end too."""
    rng = np.random.default_rng(2)
    kept = BlockFloat(1, 9)
    kept.put(rng.integers(-9_000, 9_000, (1, 9, BLOCK)).astype(np.int16), 4)
    whole = kept.read(0, 4 * BLOCK, 9 * BLOCK)
    part = kept.read(0, 4 * BLOCK + start, count)
    assert np.array_equal(part, whole[start : start + count])


def test_a_row_that_is_taken_over_is_the_same() -> None:
    """Copied into a shorter ring, the newest blocks read as before."""
    rng = np.random.default_rng(3)
    kept, other = BlockFloat(2, 9), BlockFloat(1, 5)
    for first in (0, 7):
        kept.put(rng.integers(-9_000, 9_000, (2, 7, BLOCK)).astype(np.int16), first)
    other.copy_row(0, kept, 1, 5, 14)
    newest = slice(9 * BLOCK, 5 * BLOCK)
    assert np.array_equal(
        other.read(0, newest.start, newest.stop), kept.read(1, newest.start, newest.stop)
    )
