"""Whether what rose in quiet moments runs as evenly as hiss, and is no line."""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.model.messages import Levels, Samples
from engine.model.units import rms_dbfs

QUIET_SHARE: Final = 0.2
"""In a quiet moment a fifth of a tick's hops are quieter still, and in the window a fifth of the
ticks."""
STEADY_DB: Final = 1.5
"""So little the middle hop of a tick lies over its quiet one, in a quarter of the ticks that hold
what rose: 0.3 dB in a link's hiss, 0.8 where it flutters; the words of others and a pack that is
put on have 1.7 to 4.9 (ours, measured)."""


def is_steady(treble: Levels, middle: Levels) -> bool:
    """Whether the ticks that hold no more than what rose run evenly, as hiss does.

    Both have shape (ticks,): the treble of each tick's quiet hop and that of its middle one.
    """
    count = round(QUIET_SHARE * len(treble))
    ruled = np.argsort(treble)[count : 3 * count]
    swing_db = rms_dbfs(middle[ruled]) - rms_dbfs(treble[ruled])
    return bool(np.nanquantile(swing_db, 0.25) <= STEADY_DB)


def is_tone(sound: Samples) -> bool:
    """Whether half of the power of a tick lies in one line: a howl, and no noise."""
    step = np.diff(sound)  # words lie low
    power = np.square(np.abs(np.fft.rfft(step * np.hanning(len(step)))))
    at = int(power.argmax())
    return bool(power[max(at - 3, 0) : at + 4].sum() > 0.5 * power.sum())
