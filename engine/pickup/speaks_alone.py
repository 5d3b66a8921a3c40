"""Whose voice it is in a second of sound. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from engine.model.messages import Flags, Levels
from engine.pickup.phase_correlation import Peaks

LEAST_SPEECH: Final = 0.4
"""Share of a second that must be speech, so that there is enough of it to compare."""

OTHER_SPEECH: Final = 0.15
"""Who speaks for less than this is silent: a cough, cloth."""


def loudest(packs: Mapping[str, int], speech: Flags, over_floor_db: Levels) -> str | None:
    """The performer who may be speaking alone: the loudest over their own floor; None for nobody.

    Parameters
    ----------
    packs : mapping
        Index of the healthy pack of each performer.
    speech : (hops, tracks)
    over_floor_db : (tracks,)
        Level of the second over the track's learned floor.
    """
    share = speech.mean(axis=0)
    talking = [who for who, pack in packs.items() if share[pack] >= LEAST_SPEECH]
    return max(talking, key=lambda who: over_floor_db[packs[who]], default=None)


def alone(
    who: str, packs: Mapping[str, int], speech: Flags, peaks: Peaks, least_peak: float
) -> bool:
    """Nobody else speaks: others are silent, or what their pack hears is that voice, later."""
    share = speech.mean(axis=0)
    others: Sequence[int] = [pack for name, pack in packs.items() if name != who]
    for pack in others:
        if share[pack] < OTHER_SPEECH:
            continue
        if peaks.height[pack] < least_peak or peaks.delay_s[pack] < 0.0:
            return False
    return bool(np.isfinite(peaks.height).all())
