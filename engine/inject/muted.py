"""muted: nothing comes from the link but what a converter or a receiver holds.

Model: receiver mute and a lost clock give digital zero or a held value, an open patch gives a
converter that idles within its last bits, or its own noise where the link is analogue. Common
practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span
from engine.inject.noise import at_level, white

LSB_24_BIT = 2.0**-23


def muted(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: how plainly dead. 2/3 and up digital zero, 1/3 and up a frozen value, below that
    a converter with nothing before it, -89 dBFS (0) down to one 24-bit LSB (1/3)."""
    tracks = len(span.places)
    if strength >= 2 / 3:
        return Put(np.zeros((span.frames, tracks), dtype=np.float32), "digital zero")
    if strength >= 1 / 3:
        held = span.clean()[:1] if span.frames else span.clean()
        return Put(np.repeat(held, span.frames, axis=0), "frozen value")
    level = -89.0 - 49.0 * 3.0 * strength
    idle = at_level(white(span.frames, tracks, rng), level)
    quantised = np.round(idle / LSB_24_BIT) * LSB_24_BIT
    return Put(quantised.astype(np.float32), f"idle converter at {level:.0f} dBFS")
