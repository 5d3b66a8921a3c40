"""Mains lines against a sine of known level in noise of known density (arithmetic)."""

from __future__ import annotations

import numpy as np
import pytest

from engine.early_signs.mains_level import MainsLevel

RATE = 2000.0


@pytest.mark.parametrize("hz", [50.0, 60.0, 100.0, 180.0])
def test_a_line_stands_out_by_what_arithmetic_says(hz: float) -> None:
    """A sine of amplitude A in white noise of deviation s, in a Hann window of N samples: the power
    of the line over that of a bin beside it is A^2 N / (6 s^2) (noise bandwidth 1.5 bins); of three
    lines one is there."""
    rng = np.random.default_rng(8)
    t = np.arange(2000) / RATE
    sound = 1e-3 * np.sin(2 * np.pi * hz * t) + 1e-3 * rng.standard_normal((200, 2000))
    level = MainsLevel(RATE, 2000).prominence_db(sound.astype(np.float32))
    expected = 10 * np.log10(2000 / 6.0 / 3.0)
    assert np.median(level) == pytest.approx(expected, abs=1.5)


def test_silence_and_noise_have_none() -> None:
    """Digital silence reads 0 dB, noise no more than chance gives three bins."""
    rng = np.random.default_rng(9)
    sound = np.stack([np.zeros(2000), rng.standard_normal(2000)]).astype(np.float32)
    level = MainsLevel(RATE, 2000).prominence_db(sound)
    assert level[0] == 0.0
    assert level[1] < 15.0
