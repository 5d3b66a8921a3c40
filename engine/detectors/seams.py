"""Seams of a gap that a link filled: pops of no contact.

Model: a link that plays the last few milliseconds again joins a piece to itself, so that there what
follows is what came just before it, noise and all; at the end of the gap, what came before is what
came before that. A contact that opens repeats nothing. Lengths of pieces as in `concealed`.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.detectors.concealed import TREBLE_SPAN, matches, treble
from engine.model.flag_arrays import any_of
from engine.model.messages import Samples

PIECE_S: Final = (0.0025, 0.0101)
WINDOW_S: Final = 0.004
ALIKE: Final = 0.9
"""Least correlation of their treble: at seams 0.93 and more over converter noise of -92 dBFS, at
pops of a contact amid words 0.88 at most, 0.65 in 19 of 20 (ours, measured)."""
_CLEAR: Final = 2
"""Frames that the step itself takes."""


def is_seam(x: Samples, at: int, rate_hz: float) -> bool:
    """Whether pieces of a filled gap meet at the step that follows frame `at` of that sound, shape
    (frames,)."""
    shortest, longest, size = (round(seconds * rate_hz) for seconds in (*PIECE_S, WINDOW_S))
    for begin in (at + _CLEAR, at - _CLEAR - size):
        first, last = begin - longest, begin + size + TREBLE_SPAN
        if first < 0 or last > len(x):
            continue
        sound = treble(x[first:last].astype(np.float64))
        match, power = matches(sound[-size:], sound[: len(sound) - shortest])
        if any_of(match >= ALIKE * power) and any_of(power > 0.0):
            return True
    return False
