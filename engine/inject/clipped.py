"""clipped: the wave is cut off at a ceiling.

Model: an amplifier can't pass its supply, or a converter its largest code: the tops become flat,
on both sides or (an unequal supply) on one. Ahead of the converter the ceiling may lie at any
level, a coupling capacitor after it tilts the tops (first-order high-pass), and a limiter or a
valve-like stage rounds them (soft knee: no flat tops). Source: textbook circuit theory (from
memory); shares of the shapes: common practice, no source.
"""

from __future__ import annotations

import numpy as np

from engine.inject.base import Put, Span
from engine.inject.shape import envelope
from engine.model.messages import Flags, Samples, Severity
from engine.model.units import amplitude

FULL_SCALE_24_BIT = 1.0 - 2.0**-23
FLAT_SAMPLES, LONG_FLAT_SAMPLES = 3, 8
EVIDENCE_S = 0.1


def clipped(span: Span, strength: float, rng: np.random.Generator) -> Put:
    """Strength: how far the loudest shout is driven over the ceiling, 1 dB (0) to 15 dB (1).
    Half of the ceilings are full scale, the rest -12 to -1 dBFS; one in four on one side only;
    of the lower ones one in three is tilted by a high-pass of 5 to 40 Hz, one in six is a soft
    knee (amber at most). Only what is loud is driven: the place stays as it was."""
    over_db = 1.0 + 14.0 * strength
    lower, one_sided = rng.random() < 0.5, rng.random() < 0.25
    ceiling = float(amplitude(rng.uniform(-12.0, -1.0))) if lower else FULL_SCALE_24_BIT
    corner_hz, way = rng.uniform(5.0, 40.0), rng.random()
    driven = _drive(span.clean(), span.rate, ceiling, over_db)
    if lower and way < 1 / 6:
        done = (ceiling * np.tanh(driven / ceiling)).astype(np.float32)
        events = _stretches(np.abs(driven) > ceiling, span.rate)
        return Put(done, f"soft knee at {ceiling:.2f}", events, Severity.AMBER)
    lowest = -FULL_SCALE_24_BIT if one_sided else -ceiling  # full scale always ends the other side
    done = np.clip(driven, lowest, ceiling)
    words = f"{over_db:.1f} dB over {ceiling:.2f}" + (", one side" if one_sided else "")
    if lower and way < 1 / 2:
        done = _tilted(done, span.rate, corner_hz)
        words += f", tilted by {corner_hz:.0f} Hz"
    cut = (driven >= ceiling) | (driven <= lowest)
    events = _stretches(_evident(cut, span.rate), span.rate)
    return Put(done, words, events, Severity.RED if events else None)


def _drive(clean: Samples, rate: int, ceiling: float, over_db: float) -> Samples:
    """Raise what is within 6 dB of the loudest until its peak lies `over_db` above the ceiling."""
    peak = np.maximum(np.abs(clean).max(axis=0, initial=0.0), 1e-4)
    gain_db = 20.0 * np.log10(ceiling / peak) + over_db
    share = np.minimum(2.0 * envelope(clean, rate) / peak, 1.0)
    return np.asarray(clean * 10.0 ** (share * gain_db / 20.0), dtype=np.float32)


def _tilted(samples: Samples, rate: int, corner_hz: float) -> Samples:
    """First-order high-pass that starts settled on the span's first sample."""
    from scipy import signal  # a second to load, and only a drill needs it

    b, a = signal.butter(1, corner_hz, "highpass", fs=rate)
    state = signal.lfilter_zi(b, a)[:, np.newaxis] * samples[:1]
    done, _ = signal.lfilter(b, a, samples, axis=0, zi=state)
    return np.asarray(done + samples[:1], dtype=np.float32)


def _evident(cut: Flags, rate: int) -> Flags:
    """The overload that counts as clipping: runs of 8 samples, or three of 3 within 0.1 s.

    Shape (frames, tracks), as `cut`. Source: the catalogue's own definition.
    """
    counts = np.zeros_like(cut)
    for track in range(cut.shape[1]):
        edges = np.flatnonzero(np.diff(cut[:, track].astype(np.int8), prepend=0, append=0))
        first, last = edges[::2], edges[1::2]
        flat = last - first >= FLAT_SAMPLES
        first, last = first[flat], last[flat]
        together = np.zeros(len(first), dtype=np.bool_)
        for n in np.flatnonzero(last[2:] - first[:-2] <= EVIDENCE_S * rate):
            together[n : n + 3] = True
        for a, b in zip(first, last, strict=True):
            counts[a:b, track] = b - a >= LONG_FLAT_SAMPLES
        for a, b in zip(first[together], last[together], strict=True):
            counts[a:b, track] = True
    return counts


def _stretches(cut: Flags, rate: int) -> tuple[tuple[int, int], ...]:
    """First and last frame of each stretch of overload on any track; breaks under 0.1 s joined."""
    at = np.flatnonzero(cut.any(axis=1))
    if not len(at):
        return ()
    breaks = np.flatnonzero(np.diff(at) > EVIDENCE_S * rate)
    firsts = at[np.concatenate(([0], breaks + 1))]
    lasts = at[np.concatenate((breaks, [len(at) - 1]))]
    return tuple((int(a), int(b) + 1) for a, b in zip(firsts, lasts, strict=True))
