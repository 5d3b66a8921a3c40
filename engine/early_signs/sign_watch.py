"""Follows every sign on every track, and says which stand. Alarms know nothing of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.early_signs.charts import Chart
from engine.early_signs.own_voice import OwnVoice
from engine.early_signs.period import Period, PeriodGatherer
from engine.early_signs.rules import RULES, SignRule
from engine.model.early_signs import (
    CURVE_PERIODS,
    MOST_SHOWN,
    PERIOD_S,
    EarlySign,
    SignEvent,
    SignKind,
)
from engine.model.flag_arrays import any_of
from engine.model.messages import Flags, Kind, Levels, Measurement
from engine.model.percentiles import median
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By, TrackRemap
from engine.model.tracks import Scene

BACK: Final = 0.5
"""A sign goes away by itself once this share of the least change is not reached any more."""
FEWEST_SHARED: Final = 4
"""What tracks have in common is told from so many of them on."""
AFTER_FAULT_PERIODS: Final = 3
"""Half a minute after an alarm a track is itself again."""


class _Series(TrackMemory):
    """One kind of sign on all tracks."""

    chart: Chart = remembered(By.PART, lambda s: s.rule.chart(s._tracks))
    curve: Levels = per_track(np.nan, rows=CURVE_PERIODS)
    open_id: NDArray[np.int64] = per_track(0)
    since_s: Levels = per_track(np.nan)

    def __init__(self, rule: SignRule, tracks: int) -> None:
        self.rule, self._tracks = rule, tracks
        self.reset()

    def add(self, values: Levels, comparable: Flags) -> None:
        """Take in the newest figures; `comparable`: tracks whose common change is the place's."""
        self.curve[:-1] = self.curve[1:]
        self.curve[-1] = values
        if self.rule.shared:
            change = values - self.chart.normal
            known = comparable & np.isfinite(change)
            if np.count_nonzero(known) >= FEWEST_SHARED:
                values = values - max(float(median(change[known])), 0.0)
        self.chart.add(values)

    def stands(self) -> Flags:
        """Where the sign is to be shown now, with hysteresis."""
        normal, now = self.chart.normal, self.chart.now
        change = np.abs(np.nan_to_num(now - normal))
        is_open = self.open_id > 0
        least = np.where(is_open, BACK, 1.0) * self.rule.least_change
        near = np.nan_to_num(now, nan=-np.inf) >= self.rule.least_now - np.where(is_open, 3.0, 0.0)
        return near & (change >= least) & (self.chart.signals | is_open)


@dataclass(frozen=True, slots=True)
class SignNormals:
    """What is known of health, three rows a kind: periods, normal, deviation of each track; and how
    loud its wearer is."""

    rows: Levels


class SignWatch(TrackMemory):
    """All signs of one watch.

    `update` takes in a tick; `shown` are the (at most three) signs that matter most.
    """

    _gatherer: PeriodGatherer = remembered(
        By.PART, lambda w: PeriodGatherer(np.array(w.scene.pairs(), dtype=np.int64), w._mics)
    )
    _voice: OwnVoice = remembered(By.PART, lambda w: OwnVoice(w._tracks))
    _series: dict[SignKind, _Series] = remembered(By.ANEW, lambda _: {})
    _rest: NDArray[np.int64] = per_track(0)
    _next_id: int = remembered(By.WHOLE, 1)

    def __init__(self, scene: Scene) -> None:
        self.scene, self._tracks = scene, len(scene.tracks)
        self._mics = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self.reset()
        self._series = {kind: _Series(rule, self._tracks) for kind, rule in RULES.items()}
        self._standing: tuple[EarlySign, ...] = ()
        self._learned: SignNormals | None = None

    @property
    def learned(self) -> SignNormals:
        """Each sign's normal as of the newest period, for a later start."""
        if self._learned is None:
            rows = [series.chart.summary for series in self._series.values()]
            rows.append(self._voice.loud_dbfs[None])
            self._learned = SignNormals(np.asarray(np.round(np.concatenate(rows), 3), np.float64))
        return self._learned

    def learn(self, learned: SignNormals) -> None:
        """Start from what an earlier watch of the same tracks learned."""
        for n, series in enumerate(self._series.values()):
            series.chart.begin_from(learned.rows[3 * n : 3 * n + 3])
        if len(learned.rows) > 3 * len(self._series):  # logs of before have none
            self._voice.loud_dbfs = learned.rows[-1].copy()
        self._learned = learned

    def carry(self, before: SignWatch, remap: TrackRemap) -> None:
        """Go on from another watch, with what it knew of the tracks that stay."""
        super().carry(before, remap)
        for kind, series in self._series.items():
            series.carry(before._series[kind], remap)
        self._learned = None

    @property
    def standing(self) -> tuple[EarlySign, ...]:
        """Every sign that stands, the furthest from normal first."""
        return self._standing

    @property
    def shown(self) -> tuple[EarlySign, ...]:
        """Those the crew is shown."""
        return self._standing[:MOST_SHOWN]

    def update(self, m: Measurement, faulty: Flags, resting: bool) -> list[SignEvent]:
        """Take in one tick.

        `faulty` are tracks with an alarm or out of service; `resting`: the crew is in standby.
        """
        period = self._gatherer.add(m)
        if any_of(faulty):
            self._rest[faulty] = AFTER_FAULT_PERIODS
        if period is None or resting:
            return []
        usable = self._mics & (self._rest == 0)
        self._rest = np.maximum(self._rest - 1, 0)
        return self.judge(period, usable)

    def judge(self, period: Period, usable: Flags) -> list[SignEvent]:
        """Take in the figures of ten seconds; `usable`: tracks without a fault."""
        events: list[SignEvent] = []
        signs: list[tuple[float, EarlySign]] = []
        spoke, new = self._voice.update(np.where(usable, period.peak_dbfs, np.nan))
        for main, safety in self.scene.pairs():  # what one of the packs says holds for both
            spoke[[main, safety]] = spoke[main] | spoke[safety]
            new[[main, safety]] = new[main] | new[safety]
        for kind, series in self._series.items():
            figures = np.where(usable, series.rule.figure(period), np.nan)
            if series.rule.of_voice:
                series.chart.forget(new)
                figures[~spoke] = np.nan
            series.add(figures, usable)
            stands = series.stands()
            events += self._open_and_close(kind, series, stands, period.end_s)
            signs += self._signs(kind, series)
        self._learned = None
        self._standing = tuple(sign for _, sign in sorted(signs, key=lambda s: (-s[0], s[1].id)))
        return events

    def _open_and_close(
        self, kind: SignKind, series: _Series, stands: Flags, now_s: float
    ) -> list[SignEvent]:
        events = []
        for n in map(int, np.flatnonzero(stands != (series.open_id > 0))):
            if stands[n]:
                series.open_id[n], self._next_id = self._next_id, self._next_id + 1
                ago = series.chart.age(n)
                series.since_s[n] = max(now_s - PERIOD_S * ago, 0.0)
                events.append(SignEvent(self._sign(kind, series, n), now_s, began=True))
            else:
                events.append(SignEvent(self._sign(kind, series, n), now_s, began=False))
                series.open_id[n] = 0
        return events

    def _sign(self, kind: SignKind, series: _Series, n: int) -> EarlySign:
        scale = series.rule.scale
        curve = tuple(None if np.isnan(v) else float(scale * v) for v in series.curve[:, n])
        return EarlySign(
            int(series.open_id[n]),
            kind,
            (self.scene.tracks[n].input,),
            float(series.since_s[n]),
            scale * float(series.chart.normal[n]),
            scale * float(series.chart.now[n]),
            curve,
        )

    def _signs(self, kind: SignKind, series: _Series) -> list[tuple[float, EarlySign]]:
        """Signs that stand, those of one receiver together, with how far they went."""
        made: dict[object, EarlySign] = {}
        weight: dict[object, float] = {}
        for n in map(int, np.flatnonzero(series.open_id > 0)):
            sign = self._sign(kind, series, n)
            receiver = self.scene.tracks[n].receiver if series.rule.of_link else ""
            key: object = receiver or n
            far = abs(sign.change) / (series.rule.scale * series.rule.least_change)
            made[key] = _joined(made.get(key), sign, receiver)
            weight[key] = max(weight.get(key, 0.0), far)
        return [(weight[key], sign) for key, sign in made.items()]


def _joined(first: EarlySign | None, sign: EarlySign, receiver: str) -> EarlySign:
    """Two signs of one receiver: the one further from normal speaks for both."""
    if first is None:
        return sign
    far = max(first, sign, key=lambda s: abs(s.change))
    return EarlySign(
        min(first.id, sign.id),
        sign.kind,
        (*first.tracks, *sign.tracks),
        min(first.since_s, sign.since_s),
        far.normal,
        far.now,
        far.curve,
        receiver,
    )
