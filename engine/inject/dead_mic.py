"""dead_mic: the link is up, the microphone is not: only its input's own noise comes.

Model: phantom or bias power gone, plug out, capsule dead. The wanted signal is replaced by white
and 1/f noise of steady level; pulling a plug pops, a bias that is switched off falls
exponentially as its capacitor empties. Common practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span
from engine.inject.noise import at_level, electronics
from engine.model.messages import Samples

QUIETEST_DBFS = -85.0
"""Never as quiet as a converter with nothing before it, which would be `muted`."""


def dead_mic(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: how far the noise lies under the live floor, 6 dB (0) to 30 dB (1), at least
    -85 dBFS. One in three pops at the disconnection, one in three fades within 0.1 to 0.4 s."""
    level = np.maximum(span.live_floor_dbfs() - 6.0 - 24.0 * strength, QUIETEST_DBFS)
    noise = at_level(electronics(span.frames, len(span.places), span.rate, rng), level)
    way = rng.integers(3)
    if way == 0:
        return Put(_with_pop(noise, span.rate, rng), f"noise at {level[0]:.0f} dBFS, with a pop")
    if way == 1:
        fall_s = rng.uniform(0.1, 0.4)
        time_s = np.arange(span.frames)[:, np.newaxis] / span.rate
        left = np.exp(-6.9 * time_s / fall_s)  # 60 dB down after `fall_s`
        done = (noise + span.clean() * left).astype(np.float32)
        return Put(done, f"noise at {level[0]:.0f} dBFS, bias falling for {fall_s:.1f} s")
    return Put(noise, f"noise at {level[0]:.0f} dBFS")


def _with_pop(noise: Samples, rate: int, rng: np.random.Generator) -> Samples:
    """A plug pulled: a step that the coupling capacitor lets go within a few milliseconds."""
    time_s = np.arange(len(noise))[:, np.newaxis] / rate
    height = rng.choice([-1.0, 1.0]) * rng.uniform(0.05, 0.6)
    return np.asarray(noise + height * np.exp(-time_s / 0.004), dtype=np.float32)
