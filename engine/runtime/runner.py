"""Runs one watch: reads the source, keeps the alarms going, hands out snapshots, feeds the log.

The only place in the engine that reads a clock. Live and replay differ by their source alone.
"""

from __future__ import annotations

import os
import queue
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from engine.alarms.book_checkpoint import keep
from engine.drill.drill_source import truths_of
from engine.listen.output import ASKED, Listener
from engine.listen.ring import Ring
from engine.model.client_id import ClientId
from engine.model.commands import ChangePlan, Command, Open, Stop, SwapInputs, Watch
from engine.model.messages import AlarmEvent, Block, Incident, Snapshot
from engine.model.tracks import Plan
from engine.pipeline.pipeline import Pipeline
from engine.plan.change import PlanChangeError
from engine.plan.load import PlanError, parse_plan
from engine.runtime import open_source
from engine.runtime.host import Host, Load, away_s
from engine.session.checkpoint import Checkpoint
from engine.session.recorder import Log, SessionRecorder
from engine.session.resume import Resumed
from engine.session.schema import STOPPED_BY
from engine.sources.base import EndOfTake, Source, SourceError
from engine.sources.clock_drift import ClockDrift
from engine.timecode.clock import Reference

PUBLISH_S: Final = 0.05
"""A snapshot every 50 ms: 20 frames a second."""

STALL_S: Final = 0.7
"""No audio for this long, though no error came, is a stalled input."""

REOPEN_S: Final = 2.0
"""A stalled input is let go of after this long and opened anew."""

RETRY_S: Final = 0.5
"""How often a lost input is tried again."""

LET_GO_S: Final = 3.0
"""Headphones that do not let go of their output by then are not waited for any longer."""


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
    world : World
    log : Log, optional
        Where to keep what happens.
    resumed : Resumed, optional
        What an engine of the same session left: the watch goes on from there, and what came in
        between is lost audio.

    on_plan : callable, optional
        Told of the watch anew when the crew changed its plan; must not block.

    Raises
    ------
    SourceError, PlanError
        Where source or plan can't be opened.
    """

    def __init__(
        self,
        request: Open,
        publish: Callable[[Snapshot], None],
        world: Host | None = None,
        *,
        log: Log | None = None,
        resumed: Resumed | None = None,
        on_plan: Callable[[Watch], None] = lambda _watch: None,
    ) -> None:
        self._request, self._publish = request, publish
        self._world = world or Host()
        self._clock = self._world.clock
        self.commands: queue.SimpleQueue[Asked] = queue.SimpleQueue()
        self._kept = kept = None if resumed is None else resumed.kept
        self._away_s = 0.0 if kept is None else away_s(kept, self._world)
        if resumed is not None:
            self._info = resumed.info
        self._source = self._open()
        try:
            self._on_plan = on_plan
            self.plan: Plan = open_source.fitting_plan(request.plan, self._info)
            self._plan_text = open_source.plan_text(request.plan, self.plan)
            self.watch = self._watch(None if resumed is None else resumed.start_s)
            rate_hz, live = self._info.sample_rate_hz, self._info.live
            reference = Reference.of(self.watch.start_s, rate_hz, live=live)
            self.pipeline = Pipeline(self.plan, rate_hz, kept=kept, reference=reference)
        except BaseException:
            if self._source is not None:
                self._source.close()
            raise
        if kept is not None:  # stream time begins on a whole tick: what lies between is lost too
            self._away_s += (kept.fed_s - self.pipeline.fed_s) / request.speed
        self._events: list[AlarmEvent] = []
        self._notice = " · ".join(self._info.notices)
        self._reason = self._end_reason = ""
        self._ended = False
        now = self._clock()
        self._heard_at = self._stalled_at = self._publish_due = now
        self._tried_at = now - RETRY_S
        self._lost_since: float | None = None if kept is None else now - self._away_s
        self._load = Load(now)
        self._drift = ClockDrift(self._info.sample_rate_hz)
        self._feed = self._begin_log(log)
        ring = Ring([t.input for t in self.plan.tracks], rate_hz, self._fed_frames)
        self._listener = Listener(ring, self.plan.other_pack, self._world.open_output)

    # ---- opening -----------------------------------------------------------------------------

    def _open(self) -> Source | None:
        """Open the source; on a restart the take where it is by now, a live input by its name."""
        request, kept = self._request, self._kept
        if kept is not None and self._info.live:
            return None  # `_try_again` does it
        source = self._world.open_source(request)
        self._info = source.info
        if kept is None:
            return source
        source.close()
        assert self._info.frames is not None
        length_s = self._info.frames / self._info.sample_rate_hz - request.start_s
        played_s = kept.fed_s + self._away_s * request.speed
        played_s = played_s % length_s if request.loop else min(played_s, length_s - 0.01)
        return self._world.open_source(replace(request, start_s=request.start_s + played_s))

    def _watch(self, start_s: float | None) -> Watch:
        info = self._info
        live = info.live
        if start_s is None:
            start_s = self._world.day_s() if live else (info.start_s or 0.0) + self._request.start_s
        duration_s = None if info.frames is None else info.frames / info.sample_rate_hz
        return Watch(
            plan=self.plan,
            plan_text=self._plan_text,
            source=info.name if live else Path(info.name).name,
            rate=f"{info.sample_rate_hz / 1000:g} kHz",
            live=live,
            start_s=start_s,
            duration_s=None if duration_s is None else duration_s - self._request.start_s,
            inputs=info.channels,
        )

    def _begin_log(self, log: Log | None) -> SessionRecorder | None:
        if log is None:
            return None
        rate_hz = self._info.sample_rate_hz
        totals = self.pipeline.totals
        feed = SessionRecorder(log, self.watch, rate_hz, self._world.utc_ms, self._label, totals)
        if self._kept is None:
            feed.begin(self._request, self._info, self._plan_text, self._world.version)
        feed.start(self.pipeline.fed_s, os.getpid(), self.pipeline.audio_lost_s)
        return feed

    # ---- running -----------------------------------------------------------------------------

    def run(self) -> None:
        """Watch until told to stop; a take that has ended is still shown until then."""
        self._end_reason = "broke off"
        try:
            while self._obey():
                self._turn()
        finally:
            self._listener.close()
            if self._source is not None:
                self._source.close()
            if self._feed is not None:
                self._feed.end(self.pipeline.fed_s, self._end_reason, self.kept())

    def _obey(self) -> bool:
        """Do what the crew asked meanwhile; False once it asked to stop."""
        while True:
            try:
                asked = self.commands.get_nowait()
            except queue.Empty:
                return True
            if isinstance(asked.command, ASKED):
                self._listener.ask(asked.command)
                continue
            at_s = self._stream_s()
            if isinstance(asked.command, ChangePlan | SwapInputs):
                events = self._change_plan(asked.command, at_s)
            else:
                events = self.pipeline.command(asked.command, at_s)
            if self._feed is not None:  # with what it did, so that a kill can't undo it
                self._feed.asked(asked.command, asked.who, at_s, self.kept())
                self._feed.checked(self.pipeline.lines.take_untold())
            if isinstance(asked.command, Stop):
                self._end_reason = f"{STOPPED_BY} {asked.who.place}"
                if self._ended:
                    self._end_reason = "the take ended"
                return False
            self._tell(events)
            self._publish_due = 0.0  # what the crew did is to be seen at once

    def _change_plan(self, asked: ChangePlan | SwapInputs, at_s: float) -> list[AlarmEvent]:
        """Go by another plan; one that can't be gone by is refused with a notice."""
        from engine.plan.edit import swap_inputs  # its library would slow down every start

        try:
            if isinstance(asked, ChangePlan):
                text = asked.text
            else:
                text = swap_inputs(self._plan_text, asked.one, asked.other)
            plan = parse_plan(text, self._info.channels)
            figures = None if self._feed is None else self._feed.figures()
            events = self.pipeline.change_plan(plan, at_s)
        except (PlanError, PlanChangeError) as error:
            why = str(error).splitlines()[0].removeprefix("plan: ")
            self._notice = f"plan not changed: {why}"
            return []
        self.plan, self._plan_text, self._notice = plan, text, ""
        self.watch = replace(self.watch, plan=plan, plan_text=text)
        self._listener.change([t.input for t in plan.tracks], plan.other_pack)
        if self._feed is not None and figures is not None:
            self._feed.changed_plan(self.watch, at_s, figures)
        self._on_plan(self.watch)
        return events

    def _turn(self) -> None:
        block = None if self._ended else self._read()
        now, measured_s = self._clock(), self.pipeline.now_s
        if block is not None:
            self._take_in(block, now)
        elif self._ended:
            self._world.sleep(PUBLISH_S / 2)
        elif self._info.live:
            self._keep_going(now)
        self._load.update(now)
        # On a grid, which blocks that do not divide it do not slow down; it begins anew with each
        # tick, so that what was just measured never waits.
        ticked = self.pipeline.now_s > measured_s
        if now >= self._publish_due - (PUBLISH_S / 2 if ticked else 0.0):
            self._publish_due = max((now if ticked else self._publish_due) + PUBLISH_S, now)
            self._publish(self.snapshot())

    def _read(self) -> Block | None:
        if self._source is None:
            self._try_again()
            return None
        try:
            return self._source.read(PUBLISH_S)
        except EndOfTake:
            self._at_end()
        except SourceError as error:
            self._let_go(str(error))
            if not self._info.live:
                self._notice = self._reason
                self._ended = True
        return None

    def _let_go(self, reason: str) -> None:
        """The source failed: it is closed, and what comes from now on is lost."""
        assert self._source is not None
        self._source.close()
        self._source = None
        self._reason = reason
        self._lost_since = self._heard_at
        self._tried_at = self._clock()

    def _at_end(self) -> None:
        assert self._source is not None
        self._source.close()
        if self._request.loop:
            self._source = self._world.open_source(self._request)
            self.pipeline.rewind()
            return
        self._source = None
        self.pipeline.finish()
        self._ended = True

    def _try_again(self) -> None:
        """An input that went away is looked for by name, not by number."""
        self._world.sleep(PUBLISH_S)
        if self._clock() - self._tried_at < RETRY_S:
            return
        # Looking for the input starts the audio system anew, under the headphones' feet.
        if not self._listener.hold(True) and self._clock() - self._tried_at < LET_GO_S:
            return
        try:
            self._source = self._world.open_again(self._info)
            self._listener.hold(False)
        except SourceError as error:
            self._reason = str(error)
        self._tried_at = self._clock()

    # ---- audio -------------------------------------------------------------------------------

    def _take_in(self, block: Block, now: float) -> None:
        rate_hz = self._info.sample_rate_hz
        if self._lost_since is not None:  # audio comes again: what came in between is lost
            away_s = now - self._lost_since - len(block.samples) / rate_hz
            if not self._info.live:
                away_s = self._away_s * self._request.speed
            lost = max(round(away_s * rate_hz), block.lost_frames, 0)
            block = Block(block.samples, lost)
            self._reason = self._reason or "the watch was restarted"
            self._drift = ClockDrift(rate_hz)
        self._heard_at = now
        for piece in _pieces(block, self.pipeline.meter.tick_frames):
            before_s = self.pipeline.now_s
            self._tell(self.pipeline.feed(piece))
            self._listener.put(piece.samples, self._fed_frames)
            if self.pipeline.now_s > before_s:
                self._log_tick(self.pipeline.now_s)
        if self._feed is not None:
            self._feed.planted(truths_of(self._source), self.pipeline.fed_s)
        if self._info.live:
            self._drift.add(now, len(block.samples) + block.lost_frames)
        self._reason, self._lost_since = "", None

    def _keep_going(self, now: float) -> None:
        """Nothing came: after a while that is a fault, and the alarms go on by the clock."""
        silent_s = now - self._heard_at
        if self._reason == "" and silent_s >= STALL_S:
            self._reason = f"{self._info.name} delivers nothing: its cable, power, then its clock"
            if self._lost_since is None:
                self._lost_since = self._heard_at
        if self._reason and now - self._stalled_at >= self.pipeline.tick_s:
            self._stalled_at = now
            self._tell(self.pipeline.stalled(self._stream_s(), self._reason))
            self._log_tick(self._stream_s())
        waited_s = now - max(self._heard_at, self._tried_at)
        if self._source is not None and waited_s >= STALL_S + REOPEN_S:
            self._let_go(self._reason)

    @property
    def _fed_frames(self) -> int:
        return round(self.pipeline.fed_s * self._info.sample_rate_hz)

    def _stream_s(self) -> float:
        """Stream time now; goes on by the clock while a live input delivers nothing."""
        fed_s = self.pipeline.fed_s
        if self._lost_since is None or not self._info.live:
            return fed_s
        return fed_s + max(self._clock() - self._lost_since, 0.0)

    # ---- what is told ------------------------------------------------------------------------

    def _tell(self, events: list[AlarmEvent]) -> None:
        self._events += events
        if events and self._feed is not None:
            self._feed.happened(events, self.kept())

    def _log_tick(self, at_s: float) -> None:
        if self._feed is not None:
            pipeline = self.pipeline
            lost_s = pipeline.audio_lost_s
            self._feed.tick(pipeline.latest, at_s, lost_s, self._reason, self._standing)

    def _label(self, at_s: float) -> str:
        return self.pipeline.clock.label_at(at_s)[0]

    def _standing(self) -> tuple[Iterator[Incident], Checkpoint]:
        entries = self.pipeline.book.entries
        return (e.incident for e in entries if e.incident is not None), self.kept()

    def kept(self) -> Checkpoint:
        """What a restart needs to go on from here."""
        pipeline, world = self.pipeline, self._world
        return Checkpoint(
            fed_s=pipeline.fed_s,
            audio_lost_s=pipeline.audio_lost_s,
            floor_dbfs=tuple(float(f) for f in pipeline.meter.learned().floor_dbfs),
            book=keep(pipeline.book),
            steady_s=self._heard_at,
            boot=world.boot,
            utc_ms=world.utc_ms() - round(1000 * (self._clock() - self._heard_at)),
            desk=pipeline.desk,
            line_results=pipeline.lines.checker.results,
            learned=pipeline.learned,
            inputs=tuple(t.input for t in self.plan.tracks),
        )

    def snapshot(self) -> Snapshot:
        """How it stands now, with what happened since the last one."""
        events, self._events = self._events, []
        shot = self.pipeline.snapshot(
            self._stream_s(),
            events=events,
            engine_load=self._load.share,
            ended=self._ended,
            notice=self._reason or self._notice,
        )
        log = None if self._feed is None else self._feed.log.state()
        listening = self._listener.state()
        drift_ppm, heard_at = self._drift.ppm, self._heard_at
        return replace(shot, log=log, drift_ppm=drift_ppm, listening=listening, heard_at=heard_at)


def _pieces(block: Block, longest_frames: int) -> Iterator[Block]:
    """The block cut so that no piece ends more than one tick."""
    yield Block(block.samples[:longest_frames], block.lost_frames)
    for start in range(longest_frames, len(block.samples), longest_frames):
        yield Block(block.samples[start : start + longest_frames])
