"""noise_burst: hash: the link's own noise breaks through in bursts.

Model: the carrier sinks under the FM threshold while the squelch stays open, so the programme
gives way to demodulated noise. Source of the noise: see `noise.link_hash`; lengths and number:
common practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span, ramp, spread
from engine.inject.noise import at_level, link_hash

LOUDEST_DBFS = -16.0
RECEIVER_LIMIT = 0.9
"""A receiver's output stage bends the largest clicks; it does not cut them flat."""


def noise_burst(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: level of the hash, from 6 dB above the live floor (0) to -16 dBFS (1).
    Bursts of 30 to 400 ms, about one in each two seconds of the span."""
    count = 1 + int(rng.poisson(span.frames / span.rate / 2.0))
    lengths = [int(s * span.rate) for s in rng.uniform(0.03, 0.4, count)]
    events = spread(span.frames, span.rate, lengths, rng)
    quietest = span.live_floor_dbfs() + 6.0
    level = np.minimum(quietest + strength * (LOUDEST_DBFS - quietest), LOUDEST_DBFS)
    done = span.clean()
    for first, last in events:
        weight = ramp(last - first, span.rate, 0.003)
        noise = at_level(link_hash(last - first, len(span.places), span.rate, rng), level)
        noise = RECEIVER_LIMIT * np.tanh(noise / RECEIVER_LIMIT)
        done[first:last] = done[first:last] * (1.0 - weight) + noise * weight
    return Put(done, f"{len(events)} bursts at {level.max():.0f} dBFS", events)
