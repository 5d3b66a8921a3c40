"""unexpected: a signal on an input that the plan calls unused.

Model: a cable in the wrong input: the sound of another track arrives there. Common practice, no
source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span, ramp
from engine.inject.noise import at_level


def unexpected(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: AES17 RMS of the signal over the span, -46 dBFS (0) to -14 dBFS (1). It is what
    the track with the highest live floor carries, so that it is there all the time."""
    others = [c for c in range(span.samples.shape[1]) if c not in span.places]
    if not others:
        raise ValueError("an unexpected signal needs a second track to come from")
    source = max(others, key=span.floor_dbfs)
    audio = span.samples[span.first : span.last]
    level = -46.0 + 32.0 * strength
    signal = at_level(audio[:, [source]], level) * ramp(span.frames, span.rate, 0.005)
    lag = int(rng.integers(0, max(1, span.rate // 100)))
    signal[lag:] = signal[: len(signal) - lag].copy()
    return Put(span.clean() + signal, f"the sound of input {source + 1} at {level:.0f} dBFS")
