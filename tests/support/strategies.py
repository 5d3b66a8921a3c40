"""Hypothesis strategies for sound: short takes, gains, cuts, and samples that are no numbers."""

from __future__ import annotations

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st

from engine.model.messages import Samples
from tests.support.signals import RATES_HZ

untimed = settings(deadline=None, max_examples=40)
"""For properties over whole takes: no verdict may hang on how busy the machine is."""

rates_hz = st.sampled_from(RATES_HZ)
seeds = st.integers(0, 2**32 - 1)
bad_samples = st.sampled_from([np.nan, np.inf, -np.inf])


@st.composite
def takes(
    draw: st.DrawFn, rate_hz: int = 8_000, max_s: float = 1.5, max_tracks: int = 4
) -> Samples:
    """Noise with jumps of level between digital zero and over full scale, (frames, tracks)."""
    frames = draw(st.integers(1, round(max_s * rate_hz)))
    tracks = draw(st.integers(1, max_tracks))
    rng = np.random.default_rng(draw(seeds))
    pieces = draw(st.integers(1, 6))
    gains = np.array(draw(st.lists(gain_steps, min_size=pieces, max_size=pieces)))
    gain = gains[np.minimum(np.arange(frames) * pieces // frames, pieces - 1)]
    sound = rng.standard_normal((frames, tracks)) * gain[:, None]
    take: Samples = sound.astype(np.float32)
    return take


gain_steps = st.sampled_from([0.0, 1e-40, 1e-6, 1e-3, 0.05, 0.5, 3.0])


@st.composite
def cuts(draw: st.DrawFn, frames: int) -> list[int]:
    """Places to cut a take of so many frames, ascending, 0 and the end included."""
    inner = draw(st.lists(st.integers(0, frames), max_size=12))
    return sorted({0, frames, *inner})
