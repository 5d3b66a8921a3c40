"""Which tracks carry timecode, whatever they are planned as: a look at some spots of a take."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Flags, Samples
from engine.timecode.ltc_decoder import LtcDecoder

SPOT_S: Final = 1.0
"""Sound that is looked at in one spot: 24 frames and more."""

FEWEST_FRAMES: Final = 6
"""Whole frames, each with its sync word and decimals in range, within one spot; sound has none."""

_QUIETEST: Final = 1e-3
_LOUDEST: Final = 8.0
"""Float samples may be any numbers; none of sound is so far over full scale."""

_FLAT: Final = 0.35
"""RMS over peak: a square wave has 1, band-limited code 0.6 and more, speech about 0.1."""


_THINNED: Final = 16
"""Every sixteenth sample tells a square wave from sound just as well: 3 kHz at 48 kHz."""


def flat_channels(samples: Samples) -> NDArray[np.int64]:
    """Indices of the channels that may carry code, by a few of their samples; a cheap look.

    samples : (frames, channels)
    """
    sound = np.clip(np.nan_to_num(samples[::_THINNED]), -_LOUDEST, _LOUDEST)
    return np.flatnonzero(_flat(sound))


def _flat(sound: Samples) -> Flags:
    peak = np.abs(sound).max(axis=0)
    flat = np.sqrt(np.mean(np.square(sound), axis=0)) > _FLAT * peak
    return np.asarray(flat & (peak > _QUIETEST))


def channels_with_code(spots: Iterable[Samples], sample_rate_hz: int) -> tuple[int, ...]:
    """Channels, from 1, that carry code in any of the spots, each of shape (frames, channels)."""
    channels: set[int] = set()
    for samples in spots:
        if not len(samples):
            continue
        sound = np.clip(np.nan_to_num(samples), -_LOUDEST, _LOUDEST)
        for channel in np.flatnonzero(_flat(sound)).tolist():
            if channel + 1 in channels:
                continue
            frames = LtcDecoder(sample_rate_hz).update(np.ascontiguousarray(sound[:, channel]))
            if len(frames) >= FEWEST_FRAMES:
                channels.add(channel + 1)
    return tuple(sorted(channels))
