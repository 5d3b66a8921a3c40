"""A whole receiver goes: several tracks fail at once, by one cause.

Model: its power, antenna or word clock is lost; its tracks mute within half a second of each
other, each after a last breath of hash or at once. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from engine.inject.base import Planted
from engine.inject.registry import inject
from engine.model.messages import Fault, Samples

LASTS_S: Final = (5.0, 12.0)
"""Shortest and longest that one goes for, in drills and benchmarks."""


def lose_receiver(
    samples: Samples,
    rate: int,
    tracks: Sequence[int],
    onset_s: float,
    end_s: float,
    strength: float,
    rng: np.random.Generator,
    *,
    in_place: bool = False,
) -> tuple[Samples, tuple[Planted, ...]]:
    """The samples with all those tracks muted over [onset_s, end_s), and the truth of each.

    Strength as for `muted`; the tracks fail within 0.5 s of `onset_s` and come back together.

    Raises
    ------
    ValueError
        As `inject`.
    """
    done: Samples = samples
    truths: list[Planted] = []
    for track, late_s in zip(tracks, rng.uniform(0.0, 0.5, len(tracks)), strict=True):
        done, truth = inject(
            done,
            rate,
            Fault.MUTED,
            [track],
            min(onset_s + late_s, end_s - 0.1),
            end_s,
            strength,
            rng,
            in_place=in_place or bool(truths),
        )
        truths.append(truth)
    return done, tuple(truths)
