"""timecode: the code on its track goes away, or jumps.

Model: its cable is out, so that only the input's own noise comes; or the generator was set anew, so
that it counts on from another time of day. Common practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span
from engine.inject.noise import at_level, white
from engine.model.messages import Severity

CONVERTER_DBFS = -96.0
NEAREST_S, FURTHEST_S = 1.0, 15.0


def timecode(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: how far the code jumps back, 1 s (0) to 15 s (1), and no further than the samples
    reach; amber at most. Every other time, or where nothing lies before the span, the cable is out:
    white noise at -96 dBFS."""
    back_s = NEAREST_S + (FURTHEST_S - NEAREST_S) * strength
    back = min(round(back_s * span.rate), span.first)
    if rng.random() < 0.5 or back < NEAREST_S * span.rate:
        noise = at_level(white(span.frames, len(span.places), rng), CONVERTER_DBFS)
        return Put(noise, "no code: cable out")
    rows = [span.samples[span.first - back : span.last - back, place] for place in span.places]
    earlier = np.array(rows, dtype=np.float32).T
    words = f"code jumps back by {back / span.rate:.1f} s"
    return Put(earlier, words, severity_at_most=Severity.AMBER)
