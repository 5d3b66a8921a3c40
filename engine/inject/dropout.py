"""dropout: the radio link breaks for moments.

Model: a body or a reflection takes the carrier away for 5 to 500 ms; the receiver's squelch mutes
within a few milliseconds, to digital zero or to its own noise, and opens as fast. Bounds:
CONTRACT.md; edges: common practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span, ramp, spread
from engine.inject.noise import at_level, white

SHORTEST_S = 0.005
LONGEST_S = 0.490


def dropout(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: length of the gaps, 5 ms (0) to 490 ms (1) on a log scale, each within 20 % of it.
    One gap in each two seconds of the span or so; to digital zero, or to squelch noise at least
    20 dB under the live floor, within 1 to 3 ms."""
    count = 1 + int(rng.poisson(span.frames / span.rate / 2.0))
    typical_s = SHORTEST_S * (LONGEST_S / SHORTEST_S) ** strength
    lengths_s = np.clip(typical_s * rng.uniform(0.8, 1.2, count), SHORTEST_S, LONGEST_S)
    events = spread(span.frames, span.rate, [int(s * span.rate) for s in lengths_s], rng)
    to_zero = rng.random() < 0.5
    edge_s = min(rng.uniform(0.001, 0.003), SHORTEST_S / 5)
    done = span.clean()
    level = span.live_floor_dbfs() - 20.0 - rng.uniform(0.0, 15.0)
    for first, last in events:
        weight = ramp(last - first, span.rate, edge_s)
        rest = at_level(white(last - first, len(span.places), rng), level)
        done[first:last] = done[first:last] * (1.0 - weight) + (0.0 if to_zero else weight * rest)
    floor = "digital zero" if to_zero else "squelch noise"
    return Put(done, f"{len(events)} gaps of about {typical_s * 1e3:.0f} ms to {floor}", events)
