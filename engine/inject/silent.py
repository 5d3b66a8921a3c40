"""silent: the sound is still there but far too faint to be of use.

Model: gain at its stop, an attenuator switched in, a mic shut in its case: the live sound goes
down as a whole and stays a live sound above the converter's noise. Common practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span, ramp
from engine.inject.noise import at_level, white
from engine.model.units import amplitude

CONVERTER_DBFS = -106.0
FAINTEST_FLOOR_DBFS = CONVERTER_DBFS + 6.0


def silent(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: attenuation of 25 dB (0) to 50 dB (1), less where the live floor would sink
    within 6 dB of the converter's noise (-106 dBFS) and no longer be a live sound."""
    room = np.maximum(span.live_floor_dbfs() - FAINTEST_FLOOR_DBFS, 0.0)
    loss = np.minimum(25.0 + 25.0 * strength, room)
    weight = ramp(span.frames, span.rate, 0.005)
    gain = 1.0 + weight * (amplitude(-loss) - 1.0)
    noise = at_level(white(span.frames, len(span.places), rng), CONVERTER_DBFS)
    done = span.clean() * gain + weight * noise
    return Put(done.astype(np.float32), f"attenuated by {loss.max():.0f} dB")
