"""dc: the samples lie off the middle.

Model: a converter with a failed offset, or an input whose capacitor leaks: a constant is added, and
what no longer fits is cut off. Common practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span, ramp

LEAST = 0.05
MOST = 0.4


def dc(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: offset from 0.05 (0) to 0.4 (1) of full scale, on either side."""
    offset = (LEAST + (MOST - LEAST) * strength) * rng.choice([-1.0, 1.0])
    done = np.clip(span.clean() + offset * ramp(span.frames, span.rate, 0.01), -1.0, 1.0)
    return Put(done.astype(np.float32), f"{offset:+.2f} of full scale")
