"""INJECTORS: one row a fault. To add one, write its file and add its row; nothing else changes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from engine.inject.base import Injector, Planted, Put, Span
from engine.inject.clipped import clipped
from engine.inject.clock_slip import clock
from engine.inject.crackle import crackle
from engine.inject.dc import dc
from engine.inject.dead_mic import dead_mic
from engine.inject.dropout import dropout
from engine.inject.duplicate import duplicate
from engine.inject.hum import hum
from engine.inject.low import low
from engine.inject.muted import muted
from engine.inject.noise_burst import noise_burst
from engine.inject.noise_floor import noise
from engine.inject.pair_drift import pair_drift
from engine.inject.polarity import polarity
from engine.inject.silent import silent
from engine.inject.stuck import stuck
from engine.inject.swapped import swapped
from engine.inject.timecode import timecode
from engine.inject.tone import tone
from engine.inject.unexpected import unexpected
from engine.model.alarm_limits import LIMITS, NEVER
from engine.model.messages import Fault, Samples, Severity

THIRD: Final = 3
"""Gaps or bursts that make either fault red, within `THIRD_WITHIN_S` (CONTRACT.md)."""
THIRD_WITHIN_S: Final = 10.0


@dataclass(frozen=True, slots=True)
class InjectorRule:
    """How one fault is put in, and after what time in default limits it deserves its alarms.

    amber, red : name of a limit, seconds, or NEVER
    red_from : strength from which red is deserved at all
    by_count : red comes with the third event within 10 s instead of a time
    lasts_s : shortest and longest that it is put in for, in drills and benchmarks: long enough for
        its alarms, and for its end to be heard; None: for the rest of the take
    speech_s : limit or seconds: so much speech in its span it takes to show at all
    """

    fault: Fault
    put: Injector
    amber: str | float
    red: str | float = NEVER
    red_from: float = 0.0
    by_count: bool = False
    lasts_s: tuple[float, float] | None = None
    speech_s: str | float = 0.0


INJECTORS: Final = {
    row.fault: row
    for row in (
        InjectorRule(Fault.MUTED, muted, "muted_amber_s", "muted_red_s", lasts_s=(3.0, 15.0)),
        InjectorRule(Fault.STUCK, stuck, "stuck_amber_s", "stuck_red_s", lasts_s=(3.0, 8.0)),
        InjectorRule(Fault.SILENT, silent, "silent_amber_s", "silent_red_s", lasts_s=(22.0, 30.0)),
        InjectorRule(
            Fault.DEAD_MIC, dead_mic, "dead_mic_amber_s", "dead_mic_red_s", lasts_s=(12.0, 25.0)
        ),
        InjectorRule(Fault.DROPOUT, dropout, 0.0, by_count=True, lasts_s=(4.0, 12.0)),
        InjectorRule(Fault.CRACKLE, crackle, 0.0, "crackle_red_s", lasts_s=(12.0, 20.0)),
        InjectorRule(Fault.NOISE_BURST, noise_burst, 0.0, by_count=True, lasts_s=(4.0, 12.0)),
        InjectorRule(Fault.NOISE, noise, "noise_amber_s", "noise_red_s", lasts_s=(10.0, 20.0)),
        InjectorRule(Fault.CLIPPED, clipped, 0.0, 3.0, lasts_s=(6.0, 15.0), speech_s=1.0),
        InjectorRule(Fault.LOW, low, "low_amber_s", speech_s="low_amber_s"),
        InjectorRule(
            Fault.HUM, hum, "hum_amber_s", "hum_red_s", red_from=24.0 / 44.0, lasts_s=(11.0, 18.0)
        ),
        InjectorRule(Fault.TONE, tone, "tone_amber_s", lasts_s=(8.0, 15.0)),
        InjectorRule(Fault.DC, dc, "dc_amber_s", lasts_s=(8.0, 15.0)),
        InjectorRule(
            Fault.DUPLICATE,
            duplicate,
            "duplicate_amber_s",
            "duplicate_red_s",
            lasts_s=(16.0, 25.0),
            speech_s=2.0,
        ),
        InjectorRule(Fault.POLARITY, polarity, "polarity_amber_s", speech_s="polarity_amber_s"),
        InjectorRule(
            Fault.PAIR_DRIFT, pair_drift, "pair_drift_amber_s", speech_s="pair_drift_amber_s"
        ),
        InjectorRule(Fault.SWAPPED, swapped, "swapped_amber_s", speech_s="swapped_amber_s"),
        InjectorRule(Fault.UNEXPECTED, unexpected, "unexpected_amber_s", lasts_s=(12.0, 25.0)),
        InjectorRule(Fault.CLOCK, clock, 0.0, "clock_red_s", lasts_s=(6.0, 15.0)),
        InjectorRule(
            Fault.TIMECODE, timecode, "timecode_amber_s", "timecode_red_s", lasts_s=(5.0, 12.0)
        ),
    )
}


def inject(
    samples: Samples,
    rate: int,
    fault: Fault,
    tracks: Sequence[int],
    onset_s: float,
    end_s: float,
    strength: float,
    rng: np.random.Generator,
    *,
    in_place: bool = False,
) -> tuple[Samples, Planted]:
    """The samples with one fault put in over [onset_s, end_s), and the truth of it.

    Parameters
    ----------
    samples : (frames, channels) float32; left as it is unless `in_place`
    tracks : input numbers, 1 is the first channel; for `duplicate` the source, then its copies
    strength : 0 to 1, in the terms of the injector's docstring

    Nothing outside the span and the tracks changes: every fade lies inside it.

    Raises
    ------
    ValueError
        An unknown fault, a track the samples lack, an empty span or a strength out of range.
    """
    row = INJECTORS.get(fault)
    if row is None:
        raise ValueError(f"no injector for {fault.value}; there are: {', '.join(INJECTORS)}")
    span = _span(samples, rate, tracks, onset_s, end_s)
    if not 0.0 <= strength <= 1.0:
        raise ValueError(f"strength {strength} is out of range: give 0 to 1")
    put = row.put(span, strength, rng)
    done = samples if in_place else samples.copy(order="K")
    for column, place in enumerate(span.places):
        done[span.first : span.last, place] = put.samples[:, column]
    return done, _truth(row, span, put, strength)


def _span(samples: Samples, rate: int, tracks: Sequence[int], onset_s: float, end_s: float) -> Span:
    first, last = round(onset_s * rate), min(round(end_s * rate), len(samples))
    if not 0 <= first < last:
        raise ValueError(f"nothing to change from {onset_s} s to {end_s} s: check onset and end")
    if not tracks or not all(1 <= t <= samples.shape[1] for t in tracks):
        raise ValueError(f"tracks {list(tracks)}: give inputs of 1 to {samples.shape[1]}")
    return Span(samples, rate, first, last, tuple(t - 1 for t in tracks))


def _truth(row: InjectorRule, span: Span, put: Put, strength: float) -> Planted:
    events = tuple(
        ((span.first + a) / span.rate, (span.first + b) / span.rate) for a, b in put.events
    )
    onset_s = events[0][0] if events else span.first / span.rate
    end_s = events[-1][1] if events else span.last / span.rate
    severity = _severity(row, strength, end_s - onset_s, events)
    if severity is not None and put.severity_at_most is not Severity.RED:
        severity = put.severity_at_most
    tracks = tuple(place + 1 for place in span.places)
    return Planted(tracks, row.fault, onset_s, end_s, strength, severity, put.remark, events)


def _severity(
    row: InjectorRule, strength: float, lasted_s: float, events: Sequence[tuple[float, float]]
) -> Severity | None:
    red = lasted_s >= limit_s(row.red) and strength >= row.red_from
    if row.by_count:
        last = THIRD - 1
        red = any(
            events[n + last][0] - events[n][0] <= THIRD_WITHIN_S for n in range(len(events) - last)
        )
    if red:
        return Severity.RED
    return Severity.AMBER if lasted_s >= limit_s(row.amber) else None


def limit_s(limit: str | float) -> float:
    """A time of a row in default limits, s."""
    value = LIMITS[limit].default if isinstance(limit, str) else limit
    assert isinstance(value, int | float), f"{limit} is a number"
    return float(value)
