"""Turns what happens in a watch into lines of the session log. Reads no clock and no disk."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict
from typing import Final, Protocol

from engine.measure.meter import Totals
from engine.model import dataclass_json
from engine.model.client_id import ClientId
from engine.model.commands import Command, Mark, Open, Watch
from engine.model.drill_truth import Truth
from engine.model.early_signs import SignEvent
from engine.model.frame_rates import FRAME_RATES
from engine.model.line_results import LineResult
from engine.model.messages import AlarmEvent, Incident, Measurement
from engine.model.pickups import Pickup
from engine.model.round_state import Heard
from engine.model.safe_text import json_text
from engine.model.snapshot import LogState
from engine.model.track_remap import TrackRemap
from engine.session.checkpoint import Checkpoint
from engine.session.label_course import LabelCourse
from engine.session.log_lines import (
    inputs_line,
    line_check_line,
    session_line,
    track_line,
    track_values,
    truth_line,
)
from engine.session.loudness_totals import LoudnessTotals, TotalsRecorder
from engine.session.outlook_lines import listened_lines, pickup_lines, sign_lines
from engine.session.second_levels import SecondRecorder
from engine.session.writer import LogLine, Stamp
from engine.sources.base import SourceInfo
from engine.timecode.labels import first_after

_EPS_S: Final = 1e-6

STRETCH_S: Final = 20.0
"""Loudness figures are written this often; a killed engine's lack at most that much sound."""


class Log(Protocol):
    """Where the lines go; see `writer.SessionWriter`."""

    def write(self, lines: Sequence[LogLine], stamp: Stamp, *, now: bool = False) -> None:
        """Queue lines of that moment; `now`: on the disk as soon as can be."""
        ...

    def state(self) -> LogState:
        """How long ago all was saved, what keeps it from being written, what waits."""
        ...

    def close(self) -> None:
        """Write what is queued and close."""
        ...


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
        self._course = self._course_from(0.0)
        self._second: SecondRecorder | None = None
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
        lines = [
            session_line(request, info, watch, plan_text, program, stamp),
            inputs_line(0, _inputs(watch)),
        ]
        lines += [track_line(track) for track in watch.plan.tracks]
        lines += self._plan_lines(stamp, plan_text)
        lines += [LogLine("notice", (text,)) for text in notices]
        self.log.write(lines, stamp, now=True)

    def _plan_lines(self, stamp: Stamp, plan_text: str) -> list[LogLine]:
        """The plan as it holds from that moment on."""
        plan, from_s = self._watch.plan, max(stamp.at_s, self._plan_from_s + _EPS_S)
        self._plan_from_s = from_s
        version = (from_s, stamp.utc_ms, stamp.timecode, plan.title, plan_text)
        rows = (track_values(track) for track in plan.tracks)
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
        self._course = self._course_from(at_s)
        remap = TrackRemap.of(_inputs(before), _inputs(watch))
        farewell_lines = self._left_lines(figures, remap, at_s)
        stretch = TotalsRecorder(_inputs(watch), self._totals)
        stretch.carry(self._stretch, remap)
        self._stretch = stretch
        second = max(int(at_s - _EPS_S), 0)
        if self._second is not None:
            second, old = self._second.number, self._second
            self._second = SecondRecorder(second, len(watch.plan.tracks))
            self._second.carry(old, remap)
        lines = [*farewell_lines, LogLine("plan", (watch.plan.title, watch.plan_text))]
        if _inputs(before) != _inputs(watch):
            lines.append(inputs_line(second, _inputs(watch)))
        lines += [track_line(track) for track in watch.plan.tracks]
        stamp = self.stamp(at_s)
        self.log.write([*lines, *self._plan_lines(stamp, watch.plan_text)], stamp, now=True)

    def _left_lines(self, figures: LoudnessTotals, remap: TrackRemap, at_s: float) -> list[LogLine]:
        leaving = [n for n in range(len(figures.inputs)) if n not in remap.new]
        if not any(figures.measured_s[n] for n in leaving):
            return []
        self._left_s = max(at_s, self._left_s + _EPS_S)  # the log's key
        values = dataclass_json.dumps(figures.of([figures.inputs[n] for n in leaving]))
        return [
            LogLine("left", (self._left_s, at_s, values, self._stretch.gates.of(leaving).pack()))
        ]

    def start(self, at_s: float, pid: int, lost_s: float) -> None:
        """The engine began to run at that stream time; `lost_s` of audio were lost before."""
        stamp = self.stamp(at_s)
        self._lost_s = self._lost_logged_s = lost_s
        self._begin_s, self._stretch_due_s = at_s, at_s + STRETCH_S
        self._course = self._course_from(at_s)
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
            lines = [*self._second_lines(stamp), *self._label_lines(at_s)]
            incidents, checkpoint = standing()
            lines += self._changed(incidents)
            if at_s >= self._stretch_due_s:
                self._stretch_due_s = at_s + STRETCH_S
                lines.append(self._stretch_line(at_s))
            self.log.write([*lines, *self._checkpoint_lines(checkpoint, stamp)], stamp)
            self._second = SecondRecorder(number, len(self._watch.plan.tracks))
        if measurement is not None:
            self._second.add(measurement)
            self._stretch.add(measurement)

    def _course_from(self, at_s: float) -> LabelCourse:
        return LabelCourse(self._label, FRAME_RATES[self._watch.plan.frame_rate], at_s)

    def _label_lines(self, at_s: float) -> list[LogLine]:
        turn_s = self._course.turn(at_s)
        return [] if turn_s is None else [LogLine("label", self.stamp(turn_s).values)]

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
            self.log.write([line_check_line(result, stamp)], stamp, now=True)

    def planted(self, truths: Sequence[Truth], at_s: float) -> None:
        """In a drill: faults that were put in have begun."""
        if truths:
            self.log.write([truth_line(truth) for truth in truths], self.stamp(at_s), now=True)

    def aside(
        self,
        signs: Iterable[SignEvent],
        pickups: Iterable[Pickup],
        heard: Iterable[Heard],
        at_s: float,
    ) -> None:
        """What was noticed beside the alarms, and what a person listened to."""
        lines = [*sign_lines(signs), *pickup_lines(pickups), *listened_lines(heard)]
        if lines:
            self.log.write(lines, self.stamp(at_s))

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
