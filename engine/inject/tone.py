"""tone: feedback howls on one frequency.

Model: the loop through a loudspeaker gains where its response is highest; the howl grows by some
40 dB a second until the amplifier limits it, and stays on its frequency. Common practice, no
source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span

GROWTH_DB_S = 40.0
LEAST_DBFS = -34.0
MOST_DBFS = -8.0


def tone(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: level it settles at, -34 (0) to -8 dBFS (1); 300 Hz to 5 kHz, on a log scale."""
    hz = 300.0 * (5000.0 / 300.0) ** rng.random()
    level_dbfs = LEAST_DBFS + (MOST_DBFS - LEAST_DBFS) * strength
    time_s = np.arange(span.frames) / span.rate
    grown_db = np.minimum(GROWTH_DB_S * time_s - 30.0, 0.0)
    gain = 10.0 ** ((level_dbfs + grown_db) / 20.0)
    gain *= np.clip((span.frames - np.arange(span.frames)) / (0.02 * span.rate), 0.0, 1.0)
    howl = gain * np.sin(2.0 * np.pi * hz * time_s + rng.uniform(0.0, 6.28))
    done = np.clip(span.clean() + howl[:, np.newaxis], -1.0, 1.0)
    return Put(done.astype(np.float32), f"howl at {hz:.0f} Hz, {level_dbfs:.0f} dBFS")
