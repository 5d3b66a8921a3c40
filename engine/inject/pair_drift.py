"""pair_drift: a pack leaves its learned gain offset to the other of its `who`.

Model: a mic that slipped hears the voice fainter in an unchanged place; cloth over it also takes
the treble away (second-order low-pass); of a half unplugged one
the voice falls most, and half as far what its own noise hides.
Common practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span, ramp
from engine.inject.shape import voice_gain
from engine.model.messages import Samples
from engine.model.units import amplitude


def pair_drift(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: loss of the voice, 4 dB (0) to 18 dB (1); muffled also cut above 5 kHz (0) to
    1 kHz (1). Slipped, muffled or half unplugged, one in three each."""
    from scipy import signal  # a second to load, and only a drill needs it

    loss_db = 4.0 + 14.0 * strength
    weight = ramp(span.frames, span.rate, 0.02)
    clean = span.clean()
    way = ("slipped", "muffled", "half unplugged")[rng.integers(3)]
    changed: Samples
    if way == "half unplugged":
        changed = clean * voice_gain(clean, span.rate, span.live_floor_dbfs(), -0.5 * loss_db)
        changed = changed * np.float32(amplitude(-0.5 * loss_db))
    else:
        changed = clean * voice_gain(clean, span.rate, span.live_floor_dbfs(), -loss_db)
    if way == "muffled":
        cut_hz = 5000.0 * (1000.0 / 5000.0) ** strength
        sos = signal.butter(2, cut_hz, fs=span.rate, output="sos")
        changed = signal.sosfilt(sos, changed, axis=0).astype(np.float32)
        way += f" above {cut_hz / 1000:.1f} kHz"
    done = clean + weight * (changed - clean)
    return Put(done.astype(np.float32), f"{way}, voice {loss_db:.0f} dB down")
