"""crackle: a contact in the cable or plug opens for moments.

Model: while the contact is open nothing comes but the last of the charge; each time it opens and
closes the bias behind it jumps, which the coupling capacitor lets go within milliseconds. Common
practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span, spread

SHORTEST_S, LONGEST_S = 0.0005, 0.02
DECAY_S = 0.003


def crackle(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: height of the pops, 0.06 (0) to 0.7 (1) of full scale; the contact opens for 0.5
    to 20 ms, about once a second."""
    seconds = span.frames / span.rate
    count = 3 + int(rng.poisson(seconds))
    lengths_s = SHORTEST_S * (LONGEST_S / SHORTEST_S) ** rng.random(count)
    events = spread(span.frames, span.rate, [max(2, int(s * span.rate)) for s in lengths_s], rng)
    height = 0.06 * (0.7 / 0.06) ** strength
    done = span.clean()
    time_s = np.arange(round(5.0 * DECAY_S * span.rate))[:, np.newaxis] / span.rate
    pop = np.exp(-time_s / DECAY_S)
    for first, last in events:
        done[first:last] = 0.0
        sign = rng.choice([-1.0, 1.0])
        for at, turn in ((first, sign), (last, -sign)):
            size = min(len(pop), span.frames - at)
            done[at : at + size] += turn * height * rng.uniform(0.7, 1.3) * pop[:size]
    return Put(np.clip(done, -1.0, 1.0).astype(np.float32), f"{len(events)} openings", events)
