"""hum: mains at 50 or 60 Hz with its harmonics.

Model: a ground loop brings a rectifier's comb (even harmonics, falling as 1/n), a coil near a
transformer the magnetic one (odd harmonics, falling as 1/n^1.5). The frequency wanders as the
grid's does: within 0.1 Hz over a minute (ours; EN 50160 allows 1 %).
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span, ramp
from engine.inject.noise import at_level
from engine.model.units import rms_dbfs

HARMONICS = 15


def hum(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: AES17 RMS of all mains lines together, -64 dBFS (0) to -20 dBFS (1)."""
    level = -64.0 + 44.0 * strength
    mains_hz = float(rng.choice([50.0, 60.0]))
    rectifier = rng.random() < 0.5
    time_s = np.arange(span.frames) / span.rate
    wander_rad = 0.1 * 60.0 * np.sin(2 * np.pi * time_s / 60.0 + rng.uniform(0.0, 6.3))
    phase = 2 * np.pi * (mains_hz + rng.uniform(-0.05, 0.05)) * time_s + wander_rad
    comb = np.zeros(span.frames)
    for n in range(1, HARMONICS + 1):
        if n == 1 or (n % 2 == 0) == rectifier:
            height = (0.3 if rectifier else 1.0) if n == 1 else n ** (-1.0 if rectifier else -1.5)
            comb += height * np.sin(n * phase + rng.uniform(0.0, 6.3))
    lines = at_level(comb[:, np.newaxis].astype(np.float32), level)
    done = span.clean() + lines * ramp(span.frames, span.rate, 0.02)
    kind = "rectifier" if rectifier else "magnetic"
    heard = float(rms_dbfs(np.mean(lines.astype(np.float64) ** 2)))
    return Put(done.astype(np.float32), f"{mains_hz:.0f} Hz {kind} comb at {heard:.0f} dBFS")
