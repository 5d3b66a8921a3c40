"""Which figure of a period each sign looks at, and how far it must go from normal."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from engine.early_signs.charts import Chart, CountChart
from engine.early_signs.period import Period
from engine.model.early_signs import SignKind
from engine.model.messages import Levels

NEAR_FULL_DBFS: Final = -9.0
"""Headroom is said to shrink only where peaks come this near to full scale."""
PER_MINUTE: Final = 6.0
LEAST_EVENTS: Final = 0.1
"""More a period: two in the three minutes that are counted."""
NO_GAPS: Final = 0.001
"""A period. Ours: none in 9 healthy track-hours of made scenes."""
NO_POPS: Final = 0.0015
"""A period. Ours: five in the same hours."""


@dataclass(frozen=True, slots=True)
class SignRule:
    """One sign.

    figure : of a period, shape (tracks,)
    chart : makes the chart for so many tracks
    least_change : from normal, in the unit of the figure; less is of no use to the crew
    shared : what most tracks show together is the place, not the track, and is taken off
    least_now : only where the figure itself is at least that
    scale : from the figure to what is shown
    of_link : tracks of one receiver that show it are one sign
    of_voice : only periods in which the wearer spoke say anything
    """

    figure: Callable[[Period], Levels]
    chart: Callable[[int], Chart]
    least_change: float
    shared: bool = False
    least_now: float = -np.inf
    scale: float = 1.0
    of_link: bool = False
    of_voice: bool = False


RULES: Final[Mapping[SignKind, SignRule]] = {
    SignKind.GAPS: SignRule(
        lambda p: p.gaps,
        lambda n: CountChart(n, NO_GAPS),
        LEAST_EVENTS,
        shared=True,
        scale=PER_MINUTE,
        of_link=True,
    ),
    SignKind.BURSTS: SignRule(
        lambda p: p.bursts, CountChart, LEAST_EVENTS, shared=True, scale=PER_MINUTE, of_link=True
    ),
    SignKind.POPS: SignRule(
        lambda p: p.pops,
        lambda n: CountChart(n, NO_POPS),
        LEAST_EVENTS,
        shared=True,
        scale=PER_MINUTE,
    ),
    SignKind.NOISE_FLOOR: SignRule(
        lambda p: p.floor_dbfs, lambda n: Chart(n, 0.5), 2.5, shared=True, of_link=True
    ),
    SignKind.HUM: SignRule(lambda p: p.hum_db, lambda n: Chart(n, 1.5), 5.0, shared=True),
    SignKind.HEADROOM: SignRule(
        lambda p: p.peak_dbfs,
        lambda n: Chart(n, 2.0),
        4.0,
        least_now=NEAR_FULL_DBFS,
        of_voice=True,
    ),
    SignKind.PAIR_LEVEL: SignRule(
        lambda p: p.pair_db, lambda n: Chart(n, 0.5, both_ways=True), 1.5, of_voice=True
    ),
    SignKind.PAIR_TREBLE: SignRule(
        lambda p: p.treble_db, lambda n: Chart(n, 0.7, both_ways=True), 2.5, of_voice=True
    ),
}
