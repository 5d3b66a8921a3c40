"""A source made from an array gives that array."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.sources.base import EndOfTake
from engine.sources.synthetic import ArraySource


@given(frames=st.integers(0, 300), block=st.integers(1, 400))
def test_the_blocks_put_together_are_the_array(frames, block):
    """Any block size gives every sample once, contiguous along frames."""
    samples = np.random.default_rng(0).standard_normal((frames, 3)).astype(np.float32)
    source = ArraySource(samples, 48_000, block)
    got = [np.zeros((0, 3), dtype=np.float32)]
    got += [source.read(0.0).samples for _ in range(-(-frames // block))]
    with pytest.raises(EndOfTake):
        source.read(0.0)
    np.testing.assert_array_equal(np.concatenate(got), samples)


def test_names_and_length_are_told():
    """The source tells its names, or '' for each channel, and its length."""
    samples = np.zeros((10, 2), dtype=np.float32)
    assert ArraySource(samples, 8_000).info.channel_names == ("", "")
    info = ArraySource(samples, 8_000, names=("a", "b")).info
    assert (info.channel_names, info.frames, info.live) == (("a", "b"), 10, False)


@pytest.mark.parametrize(("shape", "block"), [((10,), 1), ((10, 2), 0)])
def test_a_wrong_shape_or_block_is_refused(shape, block):
    """One-dimensional samples and empty blocks are programming errors."""
    with pytest.raises(ValueError, match="shape"):
        ArraySource(np.zeros(shape, dtype=np.float32), 48_000, block)
