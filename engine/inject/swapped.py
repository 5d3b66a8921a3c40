"""swapped: two inputs carry each other's signal.

Model: two plugs, routes or frequencies that changed places; nothing else of either sound changes.
Common practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span


def swapped(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """The first two tracks carry each other's signal, from one sample to the next; with four, the
    last two as well. Strength and generator change nothing."""
    del strength, rng
    if len(span.places) not in (2, 4):
        raise ValueError("a swap needs two tracks, or two and their two others")
    done = span.clean()
    order = [1, 0] if len(span.places) == 2 else [1, 0, 3, 2]
    return Put(done[:, order], f"{len(order)} inputs changed places")
