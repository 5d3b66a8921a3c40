"""low: someone talks, far below a usable level.

Model: the pack's gain was never set: all of the sound comes, voice and place alike, attenuated,
over the converter's noise. Common practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span, ramp
from engine.inject.noise import at_level, white
from engine.model.units import amplitude

CONVERTER_DBFS = -104.0


def low(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: attenuation of 14 dB (0) to 34 dB (1)."""
    loss_db = 14.0 + 20.0 * strength
    weight = ramp(span.frames, span.rate, 0.05)
    noise = at_level(white(span.frames, len(span.places), rng), CONVERTER_DBFS)
    done = span.clean() * (1.0 + weight * (amplitude(-loss_db) - 1.0)) + weight * noise
    return Put(done.astype(np.float32), f"attenuated by {loss_db:.0f} dB")
