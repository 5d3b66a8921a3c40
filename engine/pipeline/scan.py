"""A whole take as fast as the machine can: the same path as live, without a clock."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterable, Sequence
from contextlib import closing
from fractions import Fraction
from pathlib import Path

from engine.model.messages import AlarmEvent, EventKind, Incident, Measurement
from engine.model.pickups import Pickup
from engine.model.tracks import Plan, Scene
from engine.pipeline.level_history import HistoryRecorder
from engine.pipeline.measure_ahead import (
    Measured,
    in_parts,
    is_worth_it,
    measure,
    measure_ahead,
    ticks_at_once,
)
from engine.pipeline.pipeline import Pipeline
from engine.pipeline.scan_result import ScanResult
from engine.pipeline.sign_records import SignRecorder
from engine.sources.base import Source, SourceError, SourceInfo
from engine.sources.take import open_take
from engine.sources.take_files import Take, path_of
from engine.timecode.clock import Origin, Reference, TimecodeClock

Progress = Callable[[float], None]
"""Called now and then with the seconds of the take that are done."""

OnIncident = Callable[[Incident, TimecodeClock], None]
"""Given an incident that is over, and the clock that labels the take."""


def scan_source(
    source: Source,
    plan: Plan,
    progress: Progress | None = None,
    path: str | Path | None = None,
    disagreements: tuple[str, ...] = (),
) -> ScanResult:
    """Watch a take to its end and return all that was found; closes the source.

    `path` is how the take is named in the document, by the source's own name where not given;
    `disagreements` are those of plan and file, to be passed on.

    Raises
    ------
    SourceError
        If the take can't be read to its end.
    """
    watch = _Watch(
        source.info.name if path is None else str(path), source.info, plan, disagreements
    )
    return watch.result(measure(source, watch.scene), progress)


def scan_take(
    take: Take,
    plan: Plan,
    progress: Progress | None = None,
    disagreements: tuple[str, ...] = (),
    *,
    on_incident: OnIncident | None = None,
    on_measurement: Callable[[Measurement], None] | None = None,
    processes: int = 2,
) -> ScanResult:
    """The same of a take by its path, by two processes where that is worth it.

    `on_incident` is given each incident once: when it ended, or else with the take's end;
    `on_measurement` every tick, perhaps without its samples.

    Raises
    ------
    SourceError
        If the take can't be opened or read to its end.
    """
    source = open_take(take, read_ahead=0, block_s=0.1 * ticks_at_once(len(plan.tracks)))
    if not is_worth_it((source.info.frames or 0) / source.info.sample_rate_hz):
        processes = 1
    watch = _Watch(str(path_of(take)), source.info, plan, disagreements)
    watch.on_incident, watch.on_measurement = on_incident, on_measurement
    if processes == 1:
        return watch.result(measure(source, watch.scene), progress)
    source.close()
    return watch.result(measure_ahead(take, watch.scene), progress)


class _Watch:
    """Judges what was measured of one take, wherever that was done."""

    def __init__(
        self, path: str, info: SourceInfo, plan: Plan, disagreements: tuple[str, ...]
    ) -> None:
        self._path, self._info, self._plan = path, info, plan
        self._disagreements = disagreements
        origin = Origin.START if info.start_samples is None else Origin.FILE
        since = Fraction(info.start_samples or 0, info.sample_rate_hz)
        reference = Reference(since, origin)
        self._pipeline = Pipeline(plan, info.sample_rate_hz, reference=reference, board=False)
        self._signs, self._pickups = SignRecorder(), list[Pickup]()
        self._recorder = HistoryRecorder(len(plan.tracks))
        self._ended: set[int] = set()
        self._odd: dict[str, None] = {}
        self.on_incident: OnIncident | None = None
        self.on_measurement: Callable[[Measurement], None] | None = None
        self._pipeline.on_tick = self._record

    @property
    def scene(self) -> Scene:
        """What is to be measured."""
        return self._pipeline.scene

    def _record(self, measurement: Measurement) -> None:
        self._recorder.add(measurement)
        if self.on_measurement is not None:
            self.on_measurement(measurement)

    def result(
        self, stretches: Generator[Measured, None, None], progress: Progress | None
    ) -> ScanResult:
        """Go through the take to its end."""
        rate_hz = self._info.sample_rate_hz
        at_once = ticks_at_once(len(self._plan.tracks))
        with closing(stretches):
            for stretch in stretches:
                for ticks in in_parts(stretch.ticks, at_once):
                    self._pipeline.look_ahead(ticks)
                    for tick in ticks:
                        self._tell_ended(self._pipeline.take_in(tick))
                self._take_outlook()
                problems = self._pipeline.judge.bank.problems
                if problems:  # a scan that overlooks a fault is no scan
                    raise SourceError(f"{self._path}: {problems[0]}")
                if progress is not None:
                    progress(stretch.frames / rate_hz)
        if stretch.totals is None:
            raise SourceError(f"{self._info.name}: ended before it was measured: scan it again")
        self._pipeline.finish_marks()
        self._pipeline.outlook.finish()
        self._take_outlook()
        incidents = self._pipeline.incidents()
        self._tell(incidents)
        return ScanResult(
            self._path,
            self._info,
            self._plan,
            stretch.frames,
            stretch.totals,
            incidents,
            self._pipeline.clock,
            self._recorder.history(),
            stretch.lost_frames / rate_hz,
            (*self._disagreements, *self._odd),
            tuple(sorted(self._pipeline.own_marks, key=lambda mark: (mark.from_s, mark.track))),
            self._signs.records,
            tuple(sorted(self._pickups, key=lambda one: (one.last_s, one.who, one.track))),
        )

    def _take_outlook(self) -> None:
        """Early signs and pickups of the newest stretch; a scan without them is still one."""
        outlook = self._pipeline.outlook
        self._signs.add(outlook.take_events())
        self._pickups += outlook.take_stretches()
        self._odd |= dict.fromkeys(outlook.problems)

    def _tell_ended(self, events: Sequence[AlarmEvent]) -> None:
        if self.on_incident is not None:
            ended = (e.alarm.incident for e in events if e.kind is EventKind.CLEARED)
            self._tell(incident for incident in ended if incident.end_s is not None)

    def _tell(self, incidents: Iterable[Incident]) -> None:
        """Hand over those that were not yet."""
        for incident in incidents:
            if self.on_incident is not None and incident.id not in self._ended:
                self._ended.add(incident.id)
                self.on_incident(incident, self._pipeline.clock)
