"""A second of all tracks in a row of arrays: signs are looked for once a second, not each tick."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from engine.model.messages import Flags, Levels, Measurement, Samples

TICKS: Final = 10


@dataclass(frozen=True, slots=True, eq=False)
class Second:
    """Ticks of the same tracks joined; hops of shape (ticks, hops, tracks).

    ticks : the measurements themselves
    decimated : (tracks, frames), the sound at about 2 kHz
    quietest_db : (ticks, tracks), the least level that held for 2.5 ms
    bright : hops as bright as noise from a link: white noise has steps of twice its own power
    voiced : (ticks, 1, tracks) somebody speaks in that tick
    """

    ticks: tuple[Measurement, ...]
    decimated: Samples
    quietest_db: Samples
    difference_energy: Samples
    mean_square: Levels
    speech: Flags
    valid: Flags
    bright: Flags
    voiced: Flags

    @classmethod
    def of(cls, ticks: Sequence[Measurement]) -> Second:
        """Join them; one or more, all of the same tracks."""
        treble = np.stack([m.difference_energy for m in ticks])
        power = np.stack([m.mean_square for m in ticks])
        speech = np.stack([m.speech for m in ticks])
        bright = np.asarray(treble > BRIGHT * power)
        return cls(
            tuple(ticks),
            np.concatenate([m.decimated for m in ticks], axis=1),
            np.stack([m.quietest_db[0] for m in ticks]),
            treble,
            power,
            speech,
            np.stack([m.valid for m in ticks]),
            bright,
            np.asarray((speech & ~bright).any(axis=1, keepdims=True)),
        )

    def quiet_treble(self) -> Levels:
        """Of each tick's third quietest hop the mean square of the steps, (ticks, tracks).

        Steps from sample to sample rise 6 dB an octave, as the weighting of noise by ITU-R BS.468-4
        does up to 6 kHz: what links and preamplifiers add shows in them long before it shows in
        the rumble of a place. NaN where a hop was lost, or nothing came.
        """
        treble = np.partition(self.difference_energy, QUIET_HOP, axis=1)[:, QUIET_HOP]
        known = self.valid.all(axis=1) & (treble > 0.0)
        return np.where(known, treble, np.nan)


QUIET_HOP: Final = 2
BRIGHT: Final = 0.8
"""Steps from sample to sample carry so much of the sound's own power. White noise: twice."""
