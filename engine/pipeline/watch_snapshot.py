"""How a watch stands now, put together for a window."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np

from engine.model.crew_notes import CrewNotes
from engine.model.messages import AlarmEvent, Measurement
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan
from engine.model.units import FLOOR_DB
from engine.pipeline.judge import Judge
from engine.pipeline.level_strip import LevelStripRecorder
from engine.pipeline.outlook import Outlook
from engine.pipeline.peak_hold import PeakHold
from engine.timecode.clock import TimecodeClock


class Watched(Protocol):
    """A watch, as far as a snapshot tells of it."""

    plan: Plan
    clock: TimecodeClock
    judge: Judge
    outlook: Outlook
    peaks: PeakHold
    level_strip: LevelStripRecorder
    audio_lost_s: float

    @property
    def latest(self) -> Measurement | None:
        """The last tick's measurement; None while no audio comes."""

    @property
    def desk(self) -> CrewNotes:
        """What the crew noted."""


def snapshot_of(
    watch: Watched,
    now_s: float,
    *,
    events: Sequence[AlarmEvent],
    engine_load: float,
    ended: bool,
    notice: str,
) -> Snapshot:
    """All that a window needs to draw the present; see `Snapshot`."""
    nothing = np.full(len(watch.plan.tracks), FLOOR_DB)
    m, book, checker = watch.latest, watch.judge.book, watch.judge.lines.checker
    label, origin = watch.clock.label_at(now_s)
    return Snapshot(
        now_s=now_s,
        momentary_lufs=nothing if m is None else m.momentary_lufs,
        peak_dbfs=watch.peaks.peak_dbfs,
        peak_hold_dbfs=watch.peaks.hold_dbfs,
        level_dbfs=nothing if m is None else m.level_dbfs,
        present=np.zeros(len(nothing), dtype=np.bool_) if m is None else m.present,
        alarms=book.alarms(),
        covers=book.covers(),
        signs=watch.outlook.signs,
        pickups=watch.outlook.pickups(book, now_s),
        ribbon=watch.level_strip.ribbon(),
        standby=book.standby,
        out_of_service=book.inputs_out_of_service,
        audio_lost_s=watch.audio_lost_s,
        engine_load=engine_load,
        ended=ended,
        notice=notice,
        timecode=label,
        timecode_origin=origin.value,
        events=tuple(replace(e, timecode=watch.clock.label_at(e.at_s)[0]) for e in events),
        floor_dbfs=None if m is None else m.floor_dbfs,
        presence_dbfs=None if m is None else m.presence_dbfs,
        desk=watch.desk,
        line_check=checker.state(),
        line_results=checker.results,
        inputs=tuple(track.input for track in watch.plan.tracks),
    )
