"""stuck: the last buffer is handed over again and again.

Model: a driver or a network link that is not served in time repeats its newest buffer, bit for
bit. Lengths of buffers: 256 to 4096 frames, or a whole second; common practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span

SHORTEST_S = 0.0053
LONGEST_S = 1.0


def stuck(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: length of the buffer, 5 ms (0) to 1 s (1) on a log scale, within a tenth of it."""
    length_s = SHORTEST_S * (LONGEST_S / SHORTEST_S) ** strength * rng.uniform(0.9, 1.0)
    frames = max(1, min(round(length_s * span.rate), span.first))
    done = span.clean()
    for column, place in enumerate(span.places):
        buffer = span.samples[span.first - frames : span.first, place]
        done[:, column] = np.resize(buffer, span.frames)
    return Put(done, f"the last {1e3 * frames / span.rate:.0f} ms again and again")
