"""polarity: a pack is inverted against the other of its `who`.

Model: two wires crossed in a plug or an adapter. Common practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span


def polarity(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength means nothing here: wires are crossed or they are not."""
    return Put(-span.clean(), "inverted")
