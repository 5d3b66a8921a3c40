"""A whole take as fast as the machine can: the same path as live, without a clock."""

from __future__ import annotations

import math
from collections.abc import Callable, Generator
from contextlib import closing
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

from engine.alarms.coverage_timeline import CoverageTimeline
from engine.measure.meter import Totals
from engine.model.messages import Incident
from engine.model.tracks import Plan, Scene
from engine.model.units import stated
from engine.pipeline.level_history import HistoryRecorder, LevelHistory
from engine.pipeline.measure_ahead import Measured, is_worth_it, measure, measure_ahead
from engine.pipeline.pipeline import Pipeline
from engine.sources.base import Source, SourceError, SourceInfo
from engine.sources.take import open_take
from engine.timecode.clock import Reference, TimecodeClock

SCHEMA: Final = 1
"""Version of the JSON document; raised when a script that reads it would have to change."""


@dataclass(frozen=True, slots=True)
class ScanResult:
    """What a scan found in one take.

    `path` is the take as it was named, `frames` what was really read, `clock` its timecode.
    """

    path: str
    info: SourceInfo
    plan: Plan
    frames: int
    totals: Totals
    incidents: tuple[Incident, ...]
    clock: TimecodeClock
    history: LevelHistory
    audio_lost_s: float

    @property
    def duration_s(self) -> float:
        """Length of the take, s."""
        return self.frames / self.info.sample_rate_hz

    @property
    def red(self) -> bool:
        """Something in the take went red."""
        return any(incident.red_s is not None for incident in self.incidents)

    def timecode(self, at_s: float) -> str:
        """Timecode of that moment: LTC where the take has it, else from its time reference or 0."""
        return self.clock.label_at(at_s)[0]

    @property
    def frame_rate(self) -> str:
        """How those labels count: as the code does, else as the plan says."""
        return self.clock.rate_at(0.0).word

    def as_json(self) -> dict[str, Any]:
        """The JSON document of CONTRACT.md as plain Python values."""
        return {
            "schema": SCHEMA,
            "take": {
                "path": self.path,
                "sample_rate_hz": self.info.sample_rate_hz,
                "duration_s": round(self.duration_s, 6),
                "start_timecode": self.timecode(0.0),
                "frame_rate": self.frame_rate,
            },
            "tracks": [
                self._track_json(track_index) for track_index in range(len(self.plan.tracks))
            ],
            "incidents": [self._incident_json(incident) for incident in self.incidents],
            "who": self._who_json(),
        }

    def coverage(self) -> CoverageTimeline:
        """Which pack of each `who` was healthy when."""
        return CoverageTimeline(self.plan.tracks, self.incidents, self.duration_s)

    def _who_json(self) -> list[dict[str, Any]]:
        return [
            {
                "who": who.who,
                "covered_fraction": _share(who.covered_fraction),
                "uncovered": [[round(s.start_s, 4), round(s.end_s, 4)] for s in who.uncovered],
            }
            for who in self.coverage().whos()
        ]

    def _track_json(self, track_index: int) -> dict[str, Any]:
        track, totals = self.plan.tracks[track_index], self.totals
        return {
            "track": track.input,
            "name": track.label,
            "kind": track.kind.value,
            "who": track.who or None,
            "level": track.level.value if track.level else None,
            "integrated_lufs": _number(totals.integrated_lufs[track_index]),
            "momentary_max_lufs": _number(totals.momentary_max_lufs[track_index]),
            "short_term_max_lufs": _number(totals.short_term_max_lufs[track_index]),
            "true_peak_max_dbtp": _number(totals.true_peak_max_dbtp[track_index]),
            "sample_peak_max_dbfs": _number(totals.sample_peak_max_dbfs[track_index]),
            "rms_dbfs": _number(totals.rms_dbfs[track_index]),
            "noise_floor_dbfs": _number(totals.noise_floor_dbfs[track_index]),
            "present_fraction": _share(float(totals.present_fraction[track_index])),
        }

    def _incident_json(self, incident: Incident) -> dict[str, Any]:
        document: dict[str, Any] = {
            "track": incident.track,
            "fault": incident.fault.value,
            "severity": incident.severity.word,
            "onset_s": round(incident.onset_s, 4),
            "amber_s": _seconds(incident.amber_s),
            "red_s": _seconds(incident.red_s),
            "end_s": _seconds(incident.end_s),
            "start_timecode": self.timecode(incident.onset_s),
            "covered_by": incident.covered_by,
            "detail": incident.detail,
        }
        if incident.tracks:
            document["tracks"] = list(incident.tracks)
        if incident.part_of is not None:
            document["part_of"] = incident.part_of
        return document


def _number(level_db: float) -> float | None:
    value = stated(float(level_db))
    return None if value is None else round(value, 2)


def _share(share: float | None) -> float | None:
    return None if share is None or math.isnan(share) else round(share, 4)


def _seconds(at_s: float | None) -> float | None:
    return None if at_s is None else round(at_s, 4)


Progress = Callable[[float], None]
"""Called now and then with the seconds of the take that are done."""


def scan_source(
    source: Source,
    plan: Plan,
    progress: Progress | None = None,
    path: str | Path | None = None,
) -> ScanResult:
    """Watch a take to its end and return all that was found; closes the source.

    `path` is how the take is named in the document; by the source's own name where not given.

    Raises
    ------
    SourceError
        If the take can't be read to its end.
    """
    watch = _Watch(source.info.name if path is None else str(path), source.info, plan)
    return watch.result(measure(source, watch.scene), progress)


def scan_take(take: str | Path, plan: Plan, progress: Progress | None = None) -> ScanResult:
    """The same of a take by its path, on two cores where that is worth it.

    Raises
    ------
    SourceError
        If the take can't be opened or read to its end.
    """
    source = open_take(take, read_ahead=0)
    if not is_worth_it((source.info.frames or 0) / source.info.sample_rate_hz):
        return scan_source(source, plan, progress, take)
    source.close()
    watch = _Watch(str(take), source.info, plan)
    return watch.result(measure_ahead(take, watch.scene), progress)


class _Watch:
    """Judges what was measured of one take, wherever that was done."""

    def __init__(self, path: str, info: SourceInfo, plan: Plan) -> None:
        self._path = path
        self._info = info
        self._plan = plan
        since = Fraction(info.start_samples or 0, info.sample_rate_hz)
        self._pipeline = Pipeline(plan, info.sample_rate_hz, reference=Reference(since))
        self._recorder = HistoryRecorder(len(plan.tracks))
        self._pipeline.on_tick = self._recorder.add

    @property
    def scene(self) -> Scene:
        """What is to be measured."""
        return self._pipeline.scene

    def result(
        self, stretches: Generator[Measured, None, None], progress: Progress | None
    ) -> ScanResult:
        """Go through the take to its end."""
        rate_hz = self._info.sample_rate_hz
        with closing(stretches):
            for stretch in stretches:
                for tick in stretch.ticks:
                    self._pipeline.take_in(tick)
                if self._pipeline.problems:  # a scan that overlooks a fault is no scan
                    raise SourceError(f"{self._path}: {self._pipeline.problems[0]}")
                if progress is not None:
                    progress(stretch.frames / rate_hz)
        if stretch.totals is None:
            raise SourceError(f"{self._info.name}: ended before it was measured: scan it again")
        return ScanResult(
            self._path,
            self._info,
            self._plan,
            stretch.frames,
            stretch.totals,
            self._pipeline.incidents(),
            self._pipeline.clock,
            self._recorder.history(),
            stretch.lost_frames / rate_hz,
        )
