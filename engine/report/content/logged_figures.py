"""Figures of each track from a session's log, and what the log does not know of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from engine.model.messages import Levels
from engine.model.tracks import Plan
from engine.model.units import FLOOR_DB, amplitude_db
from engine.report.content import words
from engine.report.content.report_data import TrackFigures
from engine.session.loudness_totals import Gates, LoudnessTotals, together
from engine.session.reader import SessionReader

NOT_KEPT: Final = (
    "The log has one level a second: integrated loudness, true peak and presence are not known."
)
TOGETHER: Final = (
    "Combined from {count} runs, because the watch was restarted: maxima are exact, "
    "integrated loudness is to 0.1 LU."
)
MISSING: Final = (
    "{missing} in all are not in the loudness figures, which are written every 20 s and at the end."
)
_SLACK_S: Final = 1.5
"""Levels are written once a second, so that much may be missing of every stretch that broke off."""

_FIGURES: Final = tuple(name for name in TrackFigures.__slots__ if name != "track")


def track_figures(
    log: SessionReader, plan: Plan, levels: Levels, watched_s: float, newest: Sequence[int]
) -> tuple[tuple[TrackFigures, ...], str]:
    """Figures of every track, and what to note of them.

    `levels` has a column a second; `newest` are the inputs watched at the end.
    """
    measured = _stretches(log, [track.input for track in plan.tracks])
    if measured is None:
        return _from_levels(plan, levels, _floors(log, newest)), NOT_KEPT
    stretches, gates, note = measured
    whole = together(stretches, gates)
    figures = tuple(
        TrackFigures(track, **{name: _figure(whole, name, n) for name in _FIGURES})
        for n, track in enumerate(plan.tracks)
    )
    return figures, note + _missing(log, watched_s, bool(note))


def _stretches(
    log: SessionReader, inputs: Sequence[int]
) -> tuple[Sequence[LoudnessTotals], Gates, str] | None:
    """What was kept of each stretch; None where the log is of an earlier version, or too short."""
    records = log.stretches()
    stretches, gates = [], Gates(len(inputs))
    index = {number: n for n, number in enumerate(inputs)}
    for record in records:
        one = record.figures
        if one is None:
            return None
        known = one.inputs or tuple(inputs)
        if len(one.measured_s) != len(known) or not set(known) <= set(inputs):
            return None
        stretches.append(one.of(inputs))
        try:
            gates.put(record.gates, [index[n] for n in known])
        except ValueError:  # of another version
            return None
    if not stretches:
        return None
    begins = {run.at_s for run in log.runs()}
    count = sum(record.begin_s in begins for record in records)
    note = TOGETHER.format(count=count) if count > 1 else ""
    return stretches, gates, note


def _missing(log: SessionReader, watched_s: float, noted: bool) -> str:
    """How much was watched after the last figures of each stretch."""
    begins = [run.at_s for run in log.runs()]
    known = {record.begin_s: record.end_s for record in log.stretches()}
    missing_s = 0.0
    for begin_s, next_s in zip(begins, [*begins[1:], watched_s], strict=True):
        until_s = min(log.levels_until(next_s, begin_s) or begin_s, next_s)
        lacks_s = until_s - known.get(begin_s, begin_s)
        missing_s += lacks_s if lacks_s > _SLACK_S else 0.0
    text = MISSING.format(missing=words.length(missing_s)) if missing_s else ""
    return f" {text}" if text and noted else text


def _figure(whole: LoudnessTotals, name: str, track_index: int) -> float | None:
    value = float(getattr(whole, name)[track_index])
    if np.isnan(value):
        return None
    return round(value, 4) if name == "present_fraction" else _stated(value)


def _from_levels(
    plan: Plan, levels: Levels, floors: Mapping[int, float | None]
) -> tuple[TrackFigures, ...]:
    figures = []
    for n, track in enumerate(plan.tracks):
        momentary, peak, rms = (one[np.isfinite(one)] for one in levels[:, :, n])
        power = float(np.mean(10.0 ** (rms / 10.0))) if len(rms) else None
        figures.append(
            TrackFigures(
                track,
                momentary_max_lufs=_stated(momentary.max()) if len(momentary) else None,
                sample_peak_max_dbfs=_stated(peak.max()) if len(peak) else None,
                rms_dbfs=None if power is None else _stated(float(amplitude_db(power**0.5))),
                noise_floor_dbfs=floors.get(track.input),
            )
        )
    return tuple(figures)


def _floors(log: SessionReader, newest: Sequence[int]) -> dict[int, float | None]:
    """The learned floor of each input that was watched at the end."""
    try:
        checkpoint = log.checkpoint()
    except ValueError:  # of another version: the floors were only kept for a restart
        checkpoint = None
    floors = checkpoint.floor_dbfs if checkpoint is not None else ()
    if len(floors) != len(newest):
        return {}
    stated = (_stated(floor) if np.isfinite(floor) else None for floor in floors)
    return dict(zip(newest, stated, strict=True))


def _stated(level_db: float) -> float | None:
    return round(float(level_db), 2) if level_db > FLOOR_DB else None
