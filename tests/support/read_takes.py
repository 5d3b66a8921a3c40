"""Takes read whole, and takes refused."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from engine.sources.base import EndOfTake, SourceError
from engine.sources.take import open_take
from tests.support.wav_files import pcm16

RATE_HZ = 48_000


def whole(path: Path, **how: Any) -> np.ndarray:
    """Every sample of a take."""
    source = open_take(path, **how)
    blocks = []
    try:
        while True:
            block = source.read(5.0)
            assert block is not None
            assert block.lost_frames == 0
            assert block.samples.dtype == np.float32
            assert block.samples.T.flags.c_contiguous
            blocks.append(block.samples)
    except EndOfTake:
        return np.concatenate(blocks)
    finally:
        source.close()


def refused(path: Path) -> str:
    """The line a take is refused with."""
    with pytest.raises(SourceError) as caught:
        open_take(path)
    line = str(caught.value)
    assert "\n" not in line
    assert str(path) in line
    return line


def noise(frames: int, channels: int) -> np.ndarray:
    """Noise at half scale, shape (frames, channels)."""
    return np.random.default_rng(1).uniform(-0.5, 0.5, (frames, channels))


AUDIO = pcm16(96_000).tobytes()
