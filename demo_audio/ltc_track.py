"""The timecode track: LTC of the whole take, as the recorder's generator puts it out."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from demo_audio.script import CODE_DBFS, CODE_USER_BITS, FRAME_RATE, RATE_HZ, START_TIMECODE_S
from engine.model.frame_rates import FRAME_RATES
from engine.model.units import amplitude
from engine.timecode.ltc_encoder import code_word, waveform


class Timecode:
    """A frame begins with the take's first sample; the code ran before and runs on after it."""

    def __init__(self) -> None:
        self._rate = FRAME_RATES[FRAME_RATE]
        self._first = START_TIMECODE_S * self._rate.labels_per_s

    def block(self, start: int, frames: int) -> NDArray[np.float64]:
        """`frames` audio frames from `start` on, shape (frames,), full scale 1.0."""
        length = RATE_HZ / float(self._rate.rate)
        first, last = int(start / length) - 1, int((start + frames) / length) + 1
        numbers = range(first, last + 1)
        words = np.array([code_word(self._rate, self._first + n, CODE_USER_BITS) for n in numbers])
        lead = start - round(first * length)
        starts = np.arange(first, last + 2, dtype=np.float64) * length - (start - lead)
        sound = waveform(words, starts, lead + frames, RATE_HZ)[lead:]
        return np.asarray(amplitude(CODE_DBFS) * sound)
