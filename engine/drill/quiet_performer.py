"""The false friend: a performer who just says nothing, which is no fault.

Model: the voice goes down to the level of breath, and the sound of the place stays. It is made
anew from short grains of the track's own quiet moments, for a voice can't be turned down without
turning down the place with it. Common practice, no source.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.inject.base import Put, Span, ramp
from engine.model.messages import Samples
from engine.model.units import amplitude, amplitude_db

BREATH_DB: Final = 6.0
"""How far the loudest breath stands over the live floor."""
GRAIN_S: Final = 0.25
QUIET_SHARE: Final = 15.0
"""Per cent of all grains that count as quiet."""
FADE_S: Final = 0.5


def says_nothing(span: Span, rng: np.random.Generator) -> Put:
    """The span with its voice at breath level; nothing in it deserves an alarm."""
    clean = span.clean()
    peak_dbfs = amplitude_db(np.abs(clean).max(axis=0, initial=0.0))
    loss_db = np.maximum(peak_dbfs - span.live_floor_dbfs() - BREATH_DB, 0.0)
    weight = ramp(span.frames, span.rate, FADE_S)
    quiet = _ambient(span, rng) + clean * amplitude(-loss_db)
    done = clean * np.sqrt(1.0 - weight**2) + weight * quiet
    return Put(done.astype(np.float32), "says nothing", severity_at_most=None)


def _ambient(span: Span, rng: np.random.Generator) -> Samples:
    """The place without the voice, shape (frames, tracks): quiet grains, overlapping by half.

    All tracks use the same moments, so that two packs of one performer still share one place.
    """
    step = max(1, round(GRAIN_S / 2 * span.rate))
    audio = span.samples[: span.last, list(span.places)]
    starts = _quiet_starts(audio, step)
    window = np.sin(np.pi * (np.arange(2 * step) + 0.5) / (2 * step))[:, np.newaxis]
    count = -(-span.frames // step) + 1
    made = np.zeros(((count + 1) * step, audio.shape[1]))
    for grain, start in enumerate(rng.choice(starts, count)):
        piece = audio[start : start + 2 * step]
        made[grain * step : grain * step + len(piece)] += piece * window[: len(piece)]
    return made[step : step + span.frames].astype(np.float32)


def _quiet_starts(audio: Samples, step: int) -> NDArray[np.int64]:
    """First frames of the quietest grains, by the loudest of a grain's pieces and tracks."""
    pieces = max(len(audio) // step, 1)
    power = np.array(
        [np.mean(audio[n * step : (n + 1) * step] ** 2, axis=0) for n in range(pieces)]
    )
    power = power / np.maximum(power.min(axis=0), 1e-12)  # each track by its own floor
    worst = power.max(axis=1)
    grains = np.maximum(worst[:-1], worst[1:]) if pieces > 1 else worst
    quiet = np.flatnonzero(grains <= np.percentile(grains, QUIET_SHARE))
    return np.asarray(quiet * step, dtype=np.int64)
