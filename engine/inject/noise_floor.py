"""noise: the link adds noise under everything, and it stays.

Model: the carrier is weak, or another transmitter holds the squelch open, so that the receiver's
noise comes with the programme: after de-emphasis level from 3 kHz on. It flutters with the
strength of the field. Source of the de-emphasis: ITU-R BS.450-3 (50 us); levels: common practice,
no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span, ramp
from engine.inject.noise import at_level, white
from engine.model.units import amplitude

DE_EMPHASIS_S = 50e-6
LOUDEST_DBFS = -12.0


def noise(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: level of the noise, from 12 dB over the live floor (0) to -12 dBFS (1)."""
    quietest = span.live_floor_dbfs() + 12.0
    level = np.minimum(quietest + strength * (LOUDEST_DBFS - quietest), LOUDEST_DBFS)
    hiss = at_level(_received(span.frames, len(span.places), span.rate, rng), level)
    flutter_db = rng.uniform(0.0, 1.5)
    time_s = np.arange(span.frames)[:, np.newaxis] / span.rate
    flutter = amplitude(flutter_db * np.sin(2.0 * np.pi * rng.uniform(2.0, 6.0) * time_s))
    weight = ramp(span.frames, span.rate, 0.05)
    drowned = np.where(level > -20.0, 0.3, 1.0)
    done = span.clean() * (1.0 - weight * (1.0 - drowned)) + hiss * flutter * weight
    return Put(done.astype(np.float32), f"noise at {level.max():.0f} dBFS")


def _received(frames: int, tracks: int, rate: int, rng: np.random.Generator) -> np.ndarray:
    """Triangular noise of a discriminator after de-emphasis, up to 15 kHz; (frames, tracks)."""
    spectrum = np.fft.rfft(white(frames, tracks, rng), axis=0)
    hz = np.fft.rfftfreq(frames, 1.0 / rate)[:, np.newaxis]
    shape = hz / np.sqrt(1.0 + np.square(2.0 * np.pi * DE_EMPHASIS_S * hz)) * (hz < 15_000.0)
    return np.asarray(np.fft.irfft(spectrum * shape, n=frames, axis=0), dtype=np.float32)
