"""clock: frames are lost or come twice, on all of the tracks at the same sample.

Model: two clocks drift apart until a buffer runs over or empty, about once a second at 1000 ppm and
a buffer of 64 frames at 48 kHz (arithmetic); what is lost is made up for at the end of the span.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span

FEWEST, MOST = 48, 512


def clock(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: frames that slip each time, 48 (0) to 512 (1), at 48 kHz; lost or doubled, once in
    0.8 to 1.2 s."""
    frames = round(FEWEST * (MOST / FEWEST) ** strength * span.rate / 48_000)
    lost = rng.random() < 0.5
    source = np.arange(span.frames)
    events: list[tuple[int, int]] = []
    at = 0
    while at < span.frames - frames:
        source[at:] += frames if lost else -frames
        events.append((at, min(at + frames, span.frames)))
        at += round(rng.uniform(0.8, 1.2) * span.rate)
    clean = span.samples
    rows = np.clip(span.first + source, 0, len(clean) - 1)
    done = np.array([clean[rows, place] for place in span.places], dtype=np.float32).T
    way = "lost" if lost else "doubled"
    return Put(done, f"{frames} frames {way}, {len(events)} times", tuple(events))
