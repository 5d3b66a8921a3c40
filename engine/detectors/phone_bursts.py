"""Whether a mobile phone's transmitter buzzes in a stretch of sound.

Model: in each frame of 4.615 ms a phone sends for one of eight time slots, and what a pack or a
cable rectifies of it is a pulse as long: up by one edge and down by another, an eighth of a frame
later (3GPP TS 45.002: 26 frames take 120 ms; from memory). Folded at the frames, the steps from
sample to sample add up at these two, while words and all else spread evenly; a voice of the same
pitch has no two edges of opposite sign so far apart.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.model.messages import Samples

FRAME_S: Final = 0.12 / 26.0
FRAMES: Final = 8
"""Fewer of them are no rhythm."""
SLOTS: Final = 8
BINS: Final = 64
"""Of a frame, 72 us each: an edge behind a low-pass of 9 kHz lies in two."""
EACH: Final = 0.5
"""The middle one of the pulses has this share of their mean: one drop is none."""
EVEN: Final = 0.2
"""One edge has this share of the other's power."""
SHARE: Final = 0.7
"""The edges hold this share of the energy of the folded steps: of 0.2 s of voices, music and places
0.47 in one of a thousand (measured)."""


def buzzes(x: Samples, rate_hz: int) -> bool:
    """Whether steps of that sound, shape (frames,), keep a phone's time: both edges of a slot."""
    if len(x) < FRAMES * FRAME_S * rate_hz:
        return False
    step = np.diff(x)
    place = (np.arange(len(step)) * (BINS / (FRAME_S * rate_hz))).astype(np.int64)
    frames = -(-(int(place[-1]) + 1) // BINS)
    each = np.bincount(place, step, frames * BINS).reshape(frames, BINS)
    # An edge may lie on the border of two bins, or reach over three.
    edges = each + np.roll(each, 1, axis=1) + np.roll(each, -1, axis=1)
    edges -= np.roll(edges, -(BINS // SLOTS), axis=1)
    at = int(np.abs(edges.sum(axis=0)).argmax())
    pulse = edges[:, at] * np.sign(edges[:, at].sum())
    if np.median(pulse) < EACH * pulse.mean():
        return False
    folded = each.sum(axis=0)
    power = np.square(folded - folded.mean())
    edge, back = (
        power[(at + BINS // SLOTS * side + np.array([-1, 0, 1])) % BINS].sum() for side in (0, 1)
    )
    both_ways = min(edge, back) >= EVEN * max(edge, back)
    return bool(both_ways and edge + back > SHARE * power.sum())
