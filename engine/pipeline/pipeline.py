"""One source from samples to alarms: block -> measurement -> conditions -> alarm events.

No threads and no clock: time is counted in frames. Blocks of any length are cut into ticks of
100 ms first, so that the same samples raise the same alarms however they arrive.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from engine.alarms import operator
from engine.alarms.book import Book
from engine.detectors import learned as memories
from engine.detectors.base import TickContext
from engine.line_check.live_check import ASKED as LINE_CHECK
from engine.line_check.live_check import LiveLineCheck
from engine.measure.floor import Learned
from engine.measure.level_meter import LevelMeter
from engine.measure.meter import Meter, Totals
from engine.measure.tick_block import TickBlock
from engine.model.commands import Command, Mark
from engine.model.crew_notes import CrewNotes
from engine.model.fault_remedies import FAULTS
from engine.model.fault_rules import FaultRule
from engine.model.frame_rates import FRAME_RATES
from engine.model.messages import AlarmEvent, Block, Incident, Measurement
from engine.model.snapshot import Snapshot
from engine.model.tick import SampleFindings, Tick
from engine.model.track_remap import TrackRemap
from engine.model.tracks import BY_TIMECODE, Plan, Scene
from engine.pipeline.crew_commands import CrewCommands
from engine.pipeline.framing import TickFramer
from engine.pipeline.judge import Judge
from engine.pipeline.level_strip import LevelStripRecorder
from engine.pipeline.outlook import Outlook
from engine.pipeline.own_marks import OwnMark, OwnMarkRecorder
from engine.pipeline.peak_hold import PeakHold
from engine.pipeline.watch_snapshot import snapshot_of
from engine.plan.change import judged, refuse_other_ways
from engine.session.checkpoint import Checkpoint
from engine.timecode.clock import Reference, TimecodeClock
from engine.timecode.rolling import RecordRun

SIMPLEST: Final = frozenset({"muted", "silent", "input_lost", "samples_lost"})
"""The rules of a reduced watch. Ours."""


class Pipeline:
    """The whole watch of one source. Feed it blocks, and tell it when none come.

    `checkpoint` is what an earlier watch of the same tracks remembered: time, floors and alarms go
    on from there. `reference` is the time since midnight of stream time 0. `reduced`: only levels
    are measured, and only the simplest faults looked for. `remembers`: how many incidents are kept
    after their end; left out, all are, which a watch of days has no memory for. `outlook`: early
    signs, and who is heard where, are followed beside the alarms, which are the same without.
    `board`: what a window draws of the last two minutes is kept; nobody looks at a scan.
    """

    def __init__(
        self,
        plan: Plan,
        sample_rate_hz: int,
        rules: Sequence[FaultRule] = FAULTS,
        checkpoint: Checkpoint | None = None,
        reference: Reference | None = None,
        *,
        reduced: bool = False,
        remembers: int | None = None,
        outlook: bool = True,
        board: bool = True,
    ) -> None:
        self.plan = plan
        if checkpoint is not None:
            checkpoint = checkpoint.of(tuple(track.input for track in plan.tracks))
        self.scene = Scene(plan.tracks, sample_rate_hz, plan.frame_rate, plan.rolling)
        self.clock = TimecodeClock(FRAME_RATES[plan.frame_rate], sample_rate_hz, reference)
        learned = None if checkpoint is None else Learned(np.array(checkpoint.floor_dbfs))
        self._framer = TickFramer(self.scene, learned, LevelMeter if reduced else Meter)
        self.meter = self._framer.meter
        self._crew = CrewCommands()
        self._marks = OwnMarkRecorder(
            self.scene, disturbances=not reduced, incidents=lambda: self.book.incidents()
        )
        self.audio_lost_s = 0.0
        self._record_run = RecordRun() if plan.rolling == BY_TIMECODE else None
        self.judge = Judge(
            self.scene,
            rules,
            self.meter,
            checkpoint,
            remembers=remembers,
            only=SIMPLEST if reduced else None,
        )
        self.outlook = Outlook(self.scene, on=outlook and not reduced)
        self.outlook.ends = plan.ends
        self.outlook.midnight_s = float(reference.since_midnight_s) if reference else 0.0
        self.level_strip = LevelStripRecorder(len(plan.tracks))
        self.peaks = PeakHold(len(plan.tracks))
        self._board = board
        self._stalled_s: float | None = None
        self._latest: Measurement | None = None
        self.on_tick: Callable[[Measurement], None] | None = None
        if checkpoint is not None:
            self._go_on_from(checkpoint)

    def _go_on_from(self, checkpoint: Checkpoint) -> None:
        self._framer.skip(int(checkpoint.fed_s / self.tick_s + 1e-6))
        self.audio_lost_s = checkpoint.audio_lost_s
        self._crew.notes = checkpoint.desk
        self.outlook.restore(checkpoint.learned)

    @property
    def book(self) -> Book:
        """The alarms."""
        return self.judge.book

    @property
    def lines(self) -> LiveLineCheck:
        """The line check."""
        return self.judge.lines

    @property
    def own_marks(self) -> list[OwnMark]:
        """What the watch set down by itself, all so far."""
        return self._marks.marks

    @property
    def learned(self) -> tuple[memories.Memory, ...]:
        """What detectors and early signs learned so far, for a later start."""
        return (*self.judge.bank.learned, *self.outlook.learned)

    @property
    def problems(self) -> tuple[str, ...]:
        """What can't be judged at the moment and why, one line each."""
        return (*self.judge.bank.problems, *self.outlook.problems)

    def change_plan(self, plan: Plan, now_s: float) -> list[AlarmEvent]:
        """Watch by that plan from now on: all that is known of its tracks goes on.

        A track that is judged by other things than before, or is new, is judged anew; for the
        others it is as if nothing had been changed.

        Raises
        ------
        PlanChangeError
            Where it has another frame rate or another way of rolling; nothing is changed then.
        """
        refuse_other_ways(self.plan, plan)
        self._set(self._marks.flush(self.plan, self._label))
        before, scene = self.scene, replace(self.scene, tracks=plan.tracks)
        remap = TrackRemap.of([t.input for t in before.tracks], [t.input for t in scene.tracks])
        self.plan, self.scene = plan, scene
        self._framer.change(scene, remap)
        self.meter = self._framer.meter
        same = TrackRemap.of(judged(before), judged(scene))
        self.outlook.change(scene, same)
        self.outlook.ends = plan.ends
        self._marks.change(scene, same)
        if not remap.stays(len(before.tracks)):
            self._latest = None  # until the next tick, for it has other tracks
            peaks, self.peaks = self.peaks, PeakHold(len(plan.tracks))
            self.peaks.carry(peaks, remap)
            level_strip, self.level_strip = self.level_strip, LevelStripRecorder(len(plan.tracks))
            self.level_strip.carry(level_strip, remap)
        return self.judge.change(scene, self.meter, remap, same, now_s)

    @property
    def tick_s(self) -> float:
        """Length of a tick, s; 0.1 but for rates that are no multiple of 100 Hz."""
        return self._framer.tick_s

    @property
    def now_s(self) -> float:
        """Stream time at the end of the last whole tick."""
        return self._framer.now_s

    @property
    def fed_s(self) -> float:
        """Stream time at the end of the last frame that came in."""
        return self._framer.fed_s

    @property
    def latest(self) -> Measurement | None:
        """The last tick's measurement; None before the first and while no audio comes."""
        return self._latest

    def feed(self, block: Block) -> list[AlarmEvent]:
        """Take in a block of any length, shape (frames, channels of the source)."""
        events = self._lose(block.lost_frames)
        self._stalled_s = None
        for tick in self._framer.feed(block.samples):
            events += self.take_in(tick)
        return events

    def _lose(self, lost_frames: int) -> list[AlarmEvent]:
        rate_hz = self.scene.sample_rate_hz
        if self._stalled_s is not None:  # stream time must not fall behind what the crew saw
            lost_frames = max(lost_frames, round((self._stalled_s - self.fed_s) * rate_hz))
        self.audio_lost_s += lost_frames / rate_hz
        events: list[AlarmEvent] = []
        for tick in self._framer.lose(lost_frames, reported=self._stalled_s is not None):
            events += self.take_in(tick)
        return events

    def look_ahead(self, ticks: Sequence[Tick]) -> None:
        """These ticks are taken in next, one by one: what can be made of all at once is made now.

        What `take_in` says is the same without.
        """
        if len(ticks) > 1:
            block = TickBlock([tick.measurement for tick in ticks])
            heard = ticks[0].heard
            self.judge.bank.look_ahead(block, () if heard is None else heard.said)

    def take_in(self, tick: Tick) -> list[AlarmEvent]:
        """Judge one measured tick; returns what happened."""
        measurement = tick.measurement
        self._latest = measurement
        if self.on_tick is not None:
            self.on_tick(measurement)
        self.clock.update(measurement.timecode)
        if self._board:
            self.peaks.update(measurement, tick.number)
        self._set(self._marks.update(measurement, self.plan, self._label))
        events = self._roll_by_code(measurement)
        resting = self._crew.standing_by or self.book.on_break
        context = TickContext(measurement.end_s, lost_frames=tick.lost_frames, standby=resting)
        events += self._judge(measurement, context, measurement.start_s, tick.heard)
        batteries = self.desk.batteries
        faulty = self.judge.faulty
        self.outlook.update(measurement, faulty, resting=resting, batteries=batteries)
        return events

    def take_marks(self) -> list[Mark]:
        """Marks that the watch set by itself since the last call, for the log."""
        return self._marks.take()

    def _set(self, marks: Sequence[OwnMark]) -> None:
        """Set down what happened on tracks and is no fault."""
        for own in marks:
            self._crew.obey(own.mark, self.book, self.plan, own.until_s)

    def _label(self, at_s: float) -> str:
        return self.clock.label_at(at_s)[0]

    def _roll_by_code(self, measurement: Measurement) -> list[AlarmEvent]:
        """Record-run code began or stopped: so does the watch."""
        rolls = self._record_run and self._record_run.update(measurement.timecode)
        if rolls is None:
            return []
        if rolls:
            self._crew.standing_by = False
        return operator.set_standby(self.book, not rolls, measurement.end_s)

    def stalled(self, now_s: float, reason: str) -> list[AlarmEvent]:
        """No audio comes, and it is `now_s` by the runner's clock: keep the alarms going."""
        self._stalled_s = now_s
        self._latest = None
        self.peaks.reset()
        context = TickContext(now_s, stalled=True, reason=reason)
        return self._judge(None, context, self.now_s)

    def _judge(
        self,
        measurement: Measurement | None,
        context: TickContext,
        start_s: float,
        findings: SampleFindings | None = None,
    ) -> list[AlarmEvent]:
        events = self.judge.step(measurement, context, start_s, findings)
        if self._board:
            self.level_strip.add(measurement, self.judge.severities, context.now_s)
        return events

    def rewind(self) -> None:
        """The take begins anew: its time reference holds again, and a jump of its code is none."""
        self.meter.rewind()
        self.clock.rewind(self.fed_s)

    def finish(self) -> None:
        """The take has ended: count its last, incomplete tick in the totals."""
        self._framer.finish()
        self.finish_marks()

    def finish_marks(self) -> None:
        """Set down what has not ended by itself, once the take has."""
        self._set(self._marks.finish(self.plan, self._label))

    def command(self, command: Command, now_s: float) -> list[AlarmEvent]:
        """Do what the crew asks; a command about an alarm that is gone changes nothing."""
        if isinstance(command, LINE_CHECK):
            self.lines.command(command, now_s, self._label(now_s))
            return []
        return self._crew.obey(command, self.book, self.plan, now_s)

    @property
    def desk(self) -> CrewNotes:
        """Marks, notes, break and batteries."""
        return self._crew.notes

    def snapshot(
        self,
        now_s: float,
        *,
        events: Sequence[AlarmEvent] = (),
        engine_load: float = 0.0,
        ended: bool = False,
        notice: str = "",
    ) -> Snapshot:
        """All that a window needs to draw the present."""
        return snapshot_of(
            self, now_s, events=events, engine_load=engine_load, ended=ended, notice=notice
        )

    def totals(self) -> Totals:
        """What was measured of every track since the start."""
        return self.meter.totals()

    def incidents(self) -> tuple[Incident, ...]:
        """Every incident that stands or is remembered, by onset."""
        return self.book.incidents()
