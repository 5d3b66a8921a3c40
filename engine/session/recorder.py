"""Turns what happens in a watch into lines of the session log. Reads no clock and no disk."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict
from typing import ClassVar, Final, Protocol

import numpy as np

from engine.measure.meter import Totals
from engine.model import dataclass_json
from engine.model.client_id import ClientId
from engine.model.commands import Command, Mark, Open, Watch
from engine.model.drill_truth import Truth
from engine.model.frame_rates import FRAME_RATES
from engine.model.line_results import LineResult
from engine.model.messages import AlarmEvent, Incident, LogState, Measurement
from engine.model.safe_text import json_text
from engine.model.track_remap import By, TrackRemap, carry
from engine.model.tracks import Track
from engine.model.units import power_db, rms_dbfs
from engine.session.checkpoint import Checkpoint
from engine.session.level_rows import ENVELOPE_STEPS, pack_envelope, pack_levels
from engine.session.loudness_totals import LoudnessTotals, TotalsRecorder
from engine.session.writer import LogLine, Stamp
from engine.sources.base import HOST_API, SourceInfo
from engine.timecode.labels import first_after

_EPS_S: Final = 1e-6

STRETCH_S: Final = 20.0
"""Loudness figures are written this often; a killed engine's lack at most that much sound."""


class Log(Protocol):
    """Where the lines go; see `session_log.SessionLog`."""

    def write(self, lines: Sequence[LogLine], stamp: Stamp, *, now: bool = False) -> None:
        """Queue lines of that moment; `now`: on the disk as soon as can be."""
        ...

    def state(self) -> LogState:
        """How long ago all was saved, what keeps it from being written, what waits."""
        ...

    def close(self) -> None:
        """Write what is queued and close."""
        ...


class _Second:
    """The levels of one second of the stream, gathered tick by tick."""

    CARRIED: ClassVar = {
        "_momentary": By.FIRST,
        "_peak": By.FIRST,
        "_squares": By.FIRST,
        "_hops": By.FIRST,
        "_steps": By.LAST,
    }

    def __init__(self, number: int, tracks: int) -> None:
        self.number = number
        self._momentary = np.full(tracks, np.nan)
        self._peak = np.full(tracks, np.nan)
        self._squares = np.zeros(tracks)
        self._hops = np.zeros(tracks)
        self._steps = np.full((ENVELOPE_STEPS, tracks), np.nan)

    def add(self, m: Measurement) -> None:
        self._momentary = np.fmax(self._momentary, m.momentary_lufs)
        peak = np.where(m.valid, np.maximum(m.peak_max, -m.peak_min), np.nan)
        self._peak = np.fmax(self._peak, np.fmax.reduce(peak))
        squares = np.where(m.valid, m.mean_square, 0.0).sum(axis=0)
        hops = np.count_nonzero(m.valid, axis=0)
        self._squares += squares
        self._hops += hops
        step = int(((m.start_s + m.end_s) / 2.0 - self.number) * ENVELOPE_STEPS)
        if 0 <= step < ENVELOPE_STEPS:
            level = rms_dbfs(squares / np.maximum(hops, 1))
            self._steps[step] = np.where(hops > 0, level, np.nan)

    def levels(self) -> bytes:
        level = rms_dbfs(self._squares / np.maximum(self._hops, 1.0))
        level = np.where(self._hops > 0, level, np.nan)
        # NaN goes through power_db's maximum as it is.
        return pack_levels(self._momentary, power_db(self._peak**2), level)

    def envelope(self) -> bytes:
        """RMS of each tenth of the second."""
        return pack_envelope(self._steps)


class SessionRecorder:
    """The lines of one run of a watch.

    Parameters
    ----------
    log : Log
    watch : Watch
    sample_rate_hz : int
    utc_ms : callable
        The wall clock, milliseconds since 1970.
    label : callable
        The timecode label of a stream time.
    totals : callable
        What was measured since this run began.
    """

    def __init__(
        self,
        log: Log,
        watch: Watch,
        sample_rate_hz: int,
        utc_ms: Callable[[], int],
        label: Callable[[float], str],
        totals: Callable[[], Totals],
    ) -> None:
        self.log = log
        self._watch = watch
        self._rate_hz = sample_rate_hz
        self._label = label
        self._utc_ms = utc_ms
        self._second: _Second | None = None
        self._totals = totals
        self._stretch = TotalsRecorder(_inputs(watch), totals)
        self._left_s = 0.0
        self._plan_from_s = -_EPS_S
        self._begin_s = 0.0
        self._stretch_due_s = STRETCH_S
        self._last_incidents: dict[int, Incident] = {}
        self._lost_s = 0.0
        self._lost_logged_s = 0.0
        self._lost_why = ""

    def stamp(self, at_s: float) -> Stamp:
        """That stream time, its sample position, its label, and the wall clock now."""
        return Stamp(at_s, round(at_s * self._rate_hz), self._utc_ms(), self._label(at_s))

    def begin(
        self,
        request: Open,
        info: SourceInfo,
        plan_text: str,
        program: str,
        notices: Sequence[str] = (),
    ) -> None:
        """The session's own lines; before any other. `notices` are what was said of the source."""
        stamp, watch = self.stamp(0.0), self._watch
        session = (
            stamp.utc_ms,
            program,
            watch.source,
            watch.live,
            self._rate_hz,
            info.channels,
            info.fields.get(HOST_API, ""),
            watch.plan.frame_rate,
            watch.start_s,
            watch.plan.title,
            dataclass_json.dumps(request),
            plan_text,
        )
        lines = [LogLine("session", session), _inputs_line(0, watch)]
        lines += [_track_line(track) for track in watch.plan.tracks]
        lines += self._plan_lines(stamp, plan_text)
        lines += [LogLine("notice", (text,)) for text in notices]
        self.log.write(lines, stamp, now=True)

    def _plan_lines(self, stamp: Stamp, plan_text: str) -> list[LogLine]:
        """The plan as it holds from that moment on."""
        plan, from_s = self._watch.plan, max(stamp.at_s, self._plan_from_s + _EPS_S)
        self._plan_from_s = from_s
        version = (from_s, stamp.utc_ms, stamp.timecode, plan.title, plan_text)
        rows = (_track_values(track) for track in plan.tracks)
        tracks = (LogLine("plan track", (from_s, *row)) for row in rows)
        return [LogLine("plan version", version), *tracks]

    def figures(self) -> LoudnessTotals:
        """What was measured so far of the tracks as they are."""
        return self._stretch.stretch()

    def changed_plan(self, watch: Watch, at_s: float, figures: LoudnessTotals) -> None:
        """Another plan holds from now on; a second that has begun is logged by its inputs.

        `figures` are those until now: what is known of inputs that leave is written.
        """
        before, self._watch = self._watch, watch
        remap = TrackRemap.of(_inputs(before), _inputs(watch))
        left = self._left_lines(figures, remap, at_s)
        stretch = TotalsRecorder(_inputs(watch), self._totals)
        carry(stretch, self._stretch, remap)
        self._stretch = stretch
        second = max(int(at_s - _EPS_S), 0)
        if self._second is not None:
            second, old = self._second.number, self._second
            self._second = _Second(second, len(watch.plan.tracks))
            carry(self._second, old, remap)
        lines = [*left, LogLine("plan", (watch.plan.title, watch.plan_text))]
        if _inputs(before) != _inputs(watch):
            lines.append(_inputs_line(second, watch))
        lines += [_track_line(track) for track in watch.plan.tracks]
        stamp = self.stamp(at_s)
        self.log.write([*lines, *self._plan_lines(stamp, watch.plan_text)], stamp, now=True)

    def _left_lines(self, figures: LoudnessTotals, remap: TrackRemap, at_s: float) -> list[LogLine]:
        gone = [n for n in range(len(figures.inputs)) if n not in remap.new]
        if not any(figures.measured_s[n] for n in gone):
            return []
        self._left_s = max(at_s, self._left_s + _EPS_S)  # the log's key
        values = dataclass_json.dumps(figures.of([figures.inputs[n] for n in gone]))
        return [LogLine("left", (self._left_s, at_s, values, self._stretch.gates.of(gone).pack()))]

    def start(self, at_s: float, pid: int, lost_s: float) -> None:
        """The engine began to run at that stream time; `lost_s` of audio were lost before."""
        stamp = self.stamp(at_s)
        self._lost_s = self._lost_logged_s = lost_s
        self._begin_s, self._stretch_due_s = at_s, at_s + STRETCH_S
        self.log.write([LogLine("run", (stamp.utc_ms, at_s, stamp.frame, pid))], stamp, now=True)

    def end(self, at_s: float, reason: str, checkpoint: Checkpoint) -> None:
        """The engine ends in good order."""
        stamp = self.stamp(at_s)
        lines = self._second_lines(stamp)
        lines += [self._stretch_line(at_s), LogLine("run end", (stamp.utc_ms, at_s, reason))]
        self.log.write([*lines, *self._checkpoint_lines(checkpoint, stamp)], stamp, now=True)

    def lost(self, lost_s: float, reason: str) -> None:
        """All audio lost so far, and why the newest was; before what comes after it is logged."""
        if lost_s > self._lost_s:
            self._lost_s, self._lost_why = lost_s, reason or "lost before it was looked at"

    def tick(
        self,
        measurement: Measurement | None,
        at_s: float,
        standing: Callable[[], tuple[Iterable[Incident], Checkpoint]],
    ) -> None:
        """Take in one tick that ends at `at_s`; None where no audio came.

        `standing` gives the open incidents and what a restart needs, and is asked once a second.
        """
        number = max(int(at_s - _EPS_S), 0)  # a tick belongs to the second it ends
        if self._second is None or number != self._second.number:
            stamp = self.stamp(at_s)
            lines = self._second_lines(stamp)
            incidents, checkpoint = standing()
            lines += self._changed(incidents)
            if at_s >= self._stretch_due_s:
                self._stretch_due_s = at_s + STRETCH_S
                lines.append(self._stretch_line(at_s))
            self.log.write([*lines, *self._checkpoint_lines(checkpoint, stamp)], stamp)
            self._second = _Second(number, len(self._watch.plan.tracks))
        if measurement is not None:
            self._second.add(measurement)
            self._stretch.add(measurement)

    def _stretch_line(self, at_s: float) -> LogLine:
        figures = dataclass_json.dumps(self._stretch.stretch())
        return LogLine("stretch", (self._begin_s, at_s, figures, self._stretch.gates.pack()))

    def _second_lines(self, stamp: Stamp) -> list[LogLine]:
        if self._second is None:
            return []
        second = self._second
        return [
            LogLine("level", (second.number, stamp.utc_ms, second.levels())),
            LogLine("envelope", (second.number, second.envelope())),
        ]

    def _checkpoint_lines(self, checkpoint: Checkpoint, stamp: Stamp) -> list[LogLine]:
        """What a restart needs, and the gap that it counts: the next engine logs only its own."""
        lines = []
        lost_s = self._lost_s - self._lost_logged_s
        if lost_s > 0.0:
            self._lost_logged_s = self._lost_s
            lines = [LogLine("gap", ("audio", *stamp.values, lost_s, 0, self._lost_why))]
        return [*lines, LogLine("kept", (dataclass_json.dumps(checkpoint),))]

    def _changed(self, incidents: Iterable[Incident]) -> list[LogLine]:
        fresh = {i.id: i for i in incidents}
        lines = [
            self._incident_line(i) for i in fresh.values() if self._last_incidents.get(i.id) != i
        ]
        self._last_incidents = fresh
        return lines

    def _incident_line(self, i: Incident) -> LogLine:
        fault = (i.fault.value, i.severity.word, i.onset_s, i.amber_s, i.red_s, i.end_s)
        values = (i.covered_by, i.uncovered, i.detail, i.part_of)
        rate = FRAME_RATES[self._watch.plan.frame_rate]
        end = "" if i.end_s is None else first_after(self._label, i.end_s, rate)
        labels = (self._label(i.onset_s), end)
        return LogLine("incident", (i.id, i.track, json.dumps(i.tracks), *fault, *values, *labels))

    def happened(self, events: Sequence[AlarmEvent], checkpoint: Checkpoint) -> None:
        """Alarms changed; `checkpoint` is what a restart needs now."""
        lines = []
        for event in events:
            alarm, incident = event.alarm, event.alarm.incident
            change = (incident.id, event.kind.value, alarm.state.value, incident.severity.word)
            stamp = self.stamp(event.at_s)
            values = (*change, incident.fault.value, *stamp.values, alarm.until_s)
            lines += [self._incident_line(incident), LogLine("change", values)]
        if lines:
            lines += self._checkpoint_lines(checkpoint, stamp)
            self.log.write(lines, stamp, now=True)

    def checked(self, results: Sequence[LineResult]) -> None:
        """Tracks were decided on in a line check."""
        for result in results:
            stamp = self.stamp(result.at_s)
            values = (
                result.track,
                result.verdict.value,
                result.note,
                dataclass_json.dumps(result.heard),
            )
            self.log.write([LogLine("line check", (*values, *stamp.values))], stamp, now=True)

    def planted(self, truths: Sequence[Truth], at_s: float) -> None:
        """In a drill: faults that were put in have begun."""
        if truths:
            self.log.write([_truth_line(truth) for truth in truths], self.stamp(at_s), now=True)

    def troubled(self, lines: Sequence[str], at_s: float) -> None:
        """The engine or its computer can't do something any more, one line each."""
        stamp = self.stamp(at_s)
        self.log.write([LogLine("problem", (line, *stamp.values)) for line in lines], stamp)

    def asked(self, command: Command, who: ClientId, at_s: float, checkpoint: Checkpoint) -> None:
        """Somebody pressed something; `checkpoint` is what a restart needs now."""
        stamp = self.stamp(at_s)
        arguments = json_text(asdict(command))
        values = (type(command).__name__, arguments, who.user, who.place, who.pid, *stamp.values)
        lines = [LogLine("action", values)]
        if isinstance(command, Mark):
            spot = stamp if command.at_s is None else self.stamp(command.at_s)
            lines.append(LogLine("mark", (command.text, *values[2:5], *spot.values)))
        lines += self._checkpoint_lines(checkpoint, stamp)
        self.log.write(lines, stamp, now=True)


def _inputs(watch: Watch) -> list[int]:
    return [track.input for track in watch.plan.tracks]


def _inputs_line(second: int, watch: Watch) -> LogLine:
    return LogLine("inputs", (second, json.dumps(_inputs(watch))))


def _track_line(track: Track) -> LogLine:
    """Its place among the tracks is its input: tracks may come and go."""
    return LogLine("track", (track.input, *_track_values(track)))


def _track_values(track: Track) -> tuple[int | str, ...]:
    identity = (track.name, track.kind.value, track.who, track.level or "", track.pack)
    return (track.input, *identity, track.placement, track.receiver, track.battery)


def _truth_line(t: Truth) -> LogLine:
    severity = None if t.severity is None else t.severity.word
    values = (t.onset_s, t.end_s, t.strength, severity, t.remark)
    return LogLine("drill fault", (t.number, t.cause.value, json.dumps(t.tracks), *values))
