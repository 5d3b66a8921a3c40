"""duplicate: an input carries another input's signal.

Model: one cable patched to two inputs (bit exact through a digital matrix, at another gain and
with its own noise through two converters). Common practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span
from engine.model.messages import Samples
from engine.model.units import amplitude

BIT_EXACT_FROM = 0.9


def duplicate(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """The first track's signal stands on all further ones. Strength: likeness. 0.9 and up bit
    exact; below, at a gain within 6 dB and with a residual of -20 dB (0) to -65 dB (0.9)."""
    if len(span.places) < 2:
        raise ValueError("a duplicate needs two tracks: the source, then its copy")
    done = span.clean()
    source = done[:, :1]
    if strength >= BIT_EXACT_FROM:
        return Put(np.repeat(source, done.shape[1], axis=1), "bit exact")
    gain_db = rng.uniform(-6.0, 6.0)
    residual_db = -20.0 - 50.0 * strength
    gain = np.float32(amplitude(gain_db))
    for copy in range(1, done.shape[1]):
        done[:, copy] = gain * _with_residual(source[:, 0], residual_db, rng)
    return Put(done, f"gain {gain_db:+.1f} dB, residual {residual_db:.0f} dB")


def _with_residual(source: Samples, residual_db: float, rng: np.random.Generator) -> Samples:
    noise = rng.standard_normal(len(source), dtype=np.float32)
    rms = np.sqrt(np.mean(source.astype(np.float64) ** 2))
    return np.asarray(source + noise * (rms * amplitude(residual_db)), dtype=np.float32)
