"""Gains that follow the voice: what makes a shout louder, or a voice fainter, but not the place."""

from __future__ import annotations

import numpy as np

from engine.model.messages import Levels, Samples
from engine.model.units import amplitude, amplitude_db


def envelope(samples: Samples, rate: int, window_s: float = 0.05) -> Samples:
    """Smoothed sample peak of each track over `window_s`, shape (frames, tracks)."""
    window = max(1, int(window_s * rate))
    from scipy.ndimage import (  # a second to load, and only a drill needs it
        maximum_filter1d,
        uniform_filter1d,
    )

    held = maximum_filter1d(np.abs(samples), window, axis=0)
    return np.asarray(uniform_filter1d(held, window, axis=0), dtype=np.float32)


def voice_gain(samples: Samples, rate: int, floor_dbfs: Levels, gain_db: Levels | float) -> Samples:
    """A gain that is whole where the track is 25 dB over its floor and none below 10 dB over it.

    Between, it grows in proportion to the level in dB. Shape (frames, tracks). Common practice,
    no source: it stands for a source that gets louder or fainter in a place that does not.
    """
    above = amplitude_db(envelope(samples, rate)) - floor_dbfs
    share = np.clip((above - 10.0) / 15.0, 0.0, 1.0)
    return np.asarray(amplitude(share * gain_db), dtype=np.float32)
