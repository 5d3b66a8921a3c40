"""Runs one watch: reads the source, keeps the alarms going, hands out snapshots, feeds the log.

With the input's supervisor the only place in the engine that reads a clock. Live and replay
differ by their source alone.
"""

from __future__ import annotations

import queue
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from engine.listen.output import ASKED
from engine.listen.rounds import ROUND_COMMANDS
from engine.model.client_id import ClientId
from engine.model.commands import (
    ChangePlan,
    Command,
    Listen,
    Open,
    Stop,
    StopListening,
    SwapInputs,
    Watch,
)
from engine.model.messages import AlarmEvent, Block
from engine.model.snapshot import Snapshot
from engine.pipeline.pipeline import Pipeline
from engine.runtime import open_source
from engine.runtime.code_finder import CodeFinder
from engine.runtime.computer import Computer
from engine.runtime.guarded_listener import GuardedListener
from engine.runtime.host import Host, Load
from engine.runtime.input_supervisor import READ_S, InputSupervisor
from engine.runtime.plan_changer import PlanChanger
from engine.runtime.round_player import RoundPlayer
from engine.runtime.watch_log import WatchLog
from engine.session.recorder import Log
from engine.session.resume import Resumed
from engine.session.schema import STOPPED_BY
from engine.sources.base import EndOfTake, SourceInfo
from engine.timecode.clock import Reference

PUBLISH_S: Final = READ_S
"""A snapshot every 50 ms: 20 frames a second."""


@dataclass(frozen=True, slots=True)
class Asked:
    """A command, and who gave it."""

    command: Command
    who: ClientId


class Runner:
    """One watch from opening to end.

    Parameters
    ----------
    request : Open
        What to watch.
    publish : callable
        Given each snapshot; must not block.
    host : Host, optional
    log : Log, optional
        Where to keep what happens.
    resumed : Resumed, optional
        What an engine of the same session left: the watch goes on from there, and what came in
        between is lost audio.
    on_plan : callable, optional
        Given the watch anew when the crew changed its plan; must not block.
    logged_request : Open, optional
        The request as the log is to have it, where that is another.
    reduced : str
        Why only levels, muted and silent are watched, one line; empty where all is.
    computer : callable, optional
        Given how much audio waits, s: what looks after the computer during a live watch.

    Raises
    ------
    SourceError, PlanError
        Where source or plan can't be opened.
    """

    def __init__(
        self,
        request: Open,
        publish: Callable[[Snapshot], None],
        host: Host | None = None,
        *,
        log: Log | None = None,
        resumed: Resumed | None = None,
        on_plan: Callable[[Watch], None] = lambda _watch: None,
        logged_request: Open | None = None,
        reduced: str = "",
        computer: Callable[[Callable[[], float]], Computer] | None = None,
    ) -> None:
        self._publish, self._on_plan = publish, on_plan
        self._host = host or Host()
        self.commands: queue.SimpleQueue[Asked] = queue.SimpleQueue()
        checkpoint = None if resumed is None else resumed.checkpoint
        info = None if resumed is None else resumed.info
        self.input = InputSupervisor(request, self._host, info, checkpoint)
        info = self.input.info
        try:
            watch, notices = _opened(request, info, self._host, resumed)
            rate_hz = info.sample_rate_hz
            self.pipeline = Pipeline(
                watch.plan,
                rate_hz,
                checkpoint=checkpoint,
                reference=Reference.of(watch.start_s, rate_hz, live=info.live),
                reduced=bool(reduced),
                remembers=0,  # the log has them
            )
        except BaseException:
            self.input.close()
            raise
        if checkpoint is not None:  # stream time begins on a whole tick
            self.input.losses.begin_from(checkpoint.fed_s, self.pipeline.fed_s)
        self._events: list[AlarmEvent] = []
        self._notice = " · ".join(notices)
        self._end_reason = ""
        self._publish_due = self._host.clock()
        self._load = Load(self._publish_due)
        self.log = WatchLog(log, watch, self.pipeline, self.input, self._host)
        self.log.begin(logged_request or request, watch, notices, new=resumed is None)
        self._plan = PlanChanger(watch, info, self.pipeline, self.log.recorder)
        growing_or_live = info.live or info.growing
        self._code_finder = CodeFinder(rate_hz) if growing_or_live else None
        self._headphones = GuardedListener(
            watch.plan, rate_hz, self._host.open_output, self._fed_frames
        )
        heard = () if resumed is None else resumed.listened
        ears = self._headphones
        self._rounds = RoundPlayer(self.pipeline, ears.ask, heard, ears.why_silent)
        self._reduced = f"only levels, muted and silent are watched: {reduced}" if reduced else ""
        self._computer = (
            computer(lambda: self.input.losses.waiting_s) if computer and info.live else None
        )

    @property
    def watch(self) -> Watch:
        """What is watched, with the plan as it is now."""
        return self._plan.watch

    # ---- running -----------------------------------------------------------------------------

    def run(self) -> None:
        """Watch until told to stop; a take that has ended is still shown until then."""
        if self._computer is not None:
            self._computer.watch()
        try:
            while self._obey():
                self._turn()
        finally:
            if self._computer is not None:
                self._computer.close()
            self._headphones.close()
            self.input.close()
        # After a crash the session has not ended.
        self.log.end(self._end_reason, self._rounds.finish(self.pipeline.now_s))

    def _obey(self) -> bool:
        """Do what the crew asked meanwhile; False once it asked to stop."""
        while True:
            try:
                asked = self.commands.get_nowait()
            except queue.Empty:
                return True
            at_s = self._stream_s()
            if isinstance(asked.command, ASKED):
                if isinstance(asked.command, Listen | StopListening):
                    self._rounds.listens_by_hand(at_s)
                self._headphones.ask(asked.command)
                continue
            if isinstance(asked.command, ROUND_COMMANDS):
                self._rounds.command(asked.command, at_s)
                self._publish_due = 0.0
                continue
            if isinstance(asked.command, ChangePlan | SwapInputs):
                events = self._change_plan(asked.command, at_s)
            else:
                events = self.pipeline.command(asked.command, at_s)
            self.log.command(asked.command, asked.who, at_s)
            if isinstance(asked.command, Stop):
                self._end_reason = f"{STOPPED_BY} {asked.who.place}"
                if self.input.ended:
                    self._end_reason = "the take ended"
                return False
            self._pass_on(events)
            self._publish_due = 0.0  # what the crew did is to be seen at once

    def _change_plan(self, asked: ChangePlan | SwapInputs, at_s: float) -> list[AlarmEvent]:
        return self._changed(self._plan.change(asked, at_s))

    def _changed(self, events: list[AlarmEvent] | None) -> list[AlarmEvent]:
        """Tell all of the plan as it is now; None: it stayed as it was."""
        self._notice = self._plan.notice
        if events is None:
            return []
        self._headphones.change(self.watch.plan)
        self._on_plan(self.watch)
        return events

    def _look_for_code(self, block: Block) -> None:
        """A live input can't be looked into before: its tracks of code show while it is watched."""
        channels = self._code_finder.take_in(block.samples) if self._code_finder else ()
        if channels:
            events = self._plan.found_code(channels, self.pipeline.now_s)
            if events is not None:
                self._pass_on(self._changed(events))

    def _turn(self) -> None:
        block = None if self.input.ended else self._read()
        now, measured_s = self._host.clock(), self.pipeline.now_s
        if block is not None:
            self._take_in(block, now)
        elif self.input.ended:
            self._host.sleep(PUBLISH_S / 2)
        elif self.input.info.live or self.input.info.growing:
            self._keep_going(now)
        self._load.update(now)
        # On a grid, which blocks that do not divide it do not slow down; it begins anew with each
        # tick, so that what was just measured never waits.
        ticked = self.pipeline.now_s > measured_s
        if now >= self._publish_due - (PUBLISH_S / 2 if ticked else 0.0):
            self._publish_due = max((now if ticked else self._publish_due) + PUBLISH_S, now)
            self._publish(self.snapshot())

    def _read(self) -> Block | None:
        try:
            return self.input.read()
        except EndOfTake:
            if self.input.rewind():
                self.pipeline.rewind()
            else:
                self.pipeline.finish()
        return None

    # ---- audio -------------------------------------------------------------------------------

    def _take_in(self, block: Block, now: float) -> None:
        block = self.input.losses.account(block, now)
        for piece in _pieces(block, self.pipeline.meter.tick_frames):
            before_s = self.pipeline.now_s
            events = self.pipeline.feed(piece)
            self.log.audio_lost()
            self._pass_on(events)
            self._rounds.step(events, self.pipeline.now_s)
            self._headphones.put(piece.samples, self._fed_frames)
            if self.pipeline.now_s > before_s:
                self._log_tick(self.pipeline.now_s)
        self._look_for_code(block)
        self.log.drill_faults()
        self.input.losses.audio_came(block, now)

    def _keep_going(self, now: float) -> None:
        """Nothing came: after a while that is a fault, and the alarms go on by the clock."""
        if self.input.stalls(now, self.pipeline.tick_s):
            self._pass_on(self.pipeline.stalled(self._stream_s(), self.input.losses.reason))
            self._log_tick(self._stream_s())
        self.input.reopen_if_stuck(now)

    @property
    def _fed_frames(self) -> int:
        return round(self.pipeline.fed_s * self.input.info.sample_rate_hz)

    def _stream_s(self) -> float:
        """Stream time now; goes on by the clock while a live input delivers nothing."""
        return self.pipeline.fed_s + self.input.losses.missing_s()

    # ---- what goes out -----------------------------------------------------------------------

    def _pass_on(self, events: list[AlarmEvent]) -> None:
        self._events += events
        self.log.events(events)

    @property
    def problems(self) -> tuple[str, ...]:
        """What this program can't do at the moment, one line each."""
        ears = (self._headphones.problem, self._rounds.problem)
        lines = (self._reduced, *self.pipeline.problems, *ears)
        return tuple(line for line in lines if line)

    @property
    def _about_to_fail(self) -> tuple[str, ...]:
        return () if self._computer is None else self._computer.problems

    def _log_tick(self, at_s: float) -> None:
        computer = (f"this computer: {line}" for line in self._about_to_fail)
        listened = self._rounds.take_unlogged()
        self.log.tick(at_s, (*self.problems, *computer), listened)

    def snapshot(self) -> Snapshot:
        """How it stands now, with what happened since the last one."""
        events, self._events = self._events, []
        shot = self.pipeline.snapshot(
            self._stream_s(),
            events=events,
            engine_load=self._load.share,
            ended=self.input.ended,
            notice=" · ".join(
                line for line in (self.input.losses.reason or self._notice, *self.problems) if line
            ),
        )
        return replace(
            shot,
            log=self.log.state(),
            drift_ppm=self.input.losses.drift.ppm,
            listening=self._headphones.state(),
            heard_at=self.input.losses.last_audio_at,
            round=self._rounds.state(self.pipeline.now_s),
            computer=self._about_to_fail,
        )


def _opened(
    request: Open, info: SourceInfo, host: Host, resumed: Resumed | None
) -> tuple[Watch, tuple[str, ...]]:
    """What is watched by that request, and what is to be said of its source and plan."""
    plan, disagreements = open_source.fit_plan(request.plan, info)
    start_s = host.day_s() if info.live else (info.start_s or 0.0) + request.start_s
    duration_s = None if info.frames is None else info.frames / info.sample_rate_hz
    watch = Watch(
        plan=plan,
        plan_text=open_source.plan_text(request.plan, plan),
        source=info.name if info.live else Path(info.name).name,
        rate=f"{info.sample_rate_hz / 1000:g} kHz",
        live=info.live,
        start_s=start_s if resumed is None else resumed.start_s,
        duration_s=None if duration_s is None else duration_s - request.start_s,
        inputs=info.channels,
    )
    return watch, (*info.notices, *disagreements)


def _pieces(block: Block, longest_frames: int) -> Iterator[Block]:
    """The block cut so that no piece ends more than one tick."""
    yield Block(block.samples[:longest_frames], block.lost_frames)
    for start in range(longest_frames, len(block.samples), longest_frames):
        yield Block(block.samples[start : start + longest_frames])
