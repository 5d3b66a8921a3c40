"""What the runner hands to the session log, and what a restart needs with each of it."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence

from engine.alarms.book_checkpoint import save
from engine.drill.truth_source import truths_of
from engine.model.client_id import ClientId, this_process
from engine.model.commands import Command, Open, Watch
from engine.model.messages import AlarmEvent, Incident
from engine.model.round_state import Heard
from engine.model.safe_text import without_numbers
from engine.model.snapshot import LogState
from engine.pipeline.pipeline import Pipeline
from engine.runtime.host import Host
from engine.runtime.input_supervisor import InputSupervisor
from engine.session.checkpoint import Checkpoint
from engine.session.recorder import Log, SessionRecorder
from engine.sources.base import server_source_of


class WatchLog:
    """The log of one run of a watch. Without a `Log` it keeps nothing.

    Parameters
    ----------
    log : Log or None
    watch : Watch
    pipeline : Pipeline
    supervisor : InputSupervisor
    host : Host
    """

    def __init__(
        self,
        log: Log | None,
        watch: Watch,
        pipeline: Pipeline,
        supervisor: InputSupervisor,
        host: Host,
    ) -> None:
        self._pipeline, self._input, self._host = pipeline, supervisor, host
        self._logged_problems: set[str] = set()
        rate_hz, totals = supervisor.info.sample_rate_hz, pipeline.totals
        self.recorder: SessionRecorder | None = None
        if log is not None:
            self.recorder = SessionRecorder(log, watch, rate_hz, host.utc_ms, self._label, totals)

    def begin(self, request: Open, watch: Watch, notices: Sequence[str], *, new: bool) -> None:
        """The engine begins to run; `new`: so does its session, watching as `request` wants."""
        if self.recorder is None:
            return
        if new:
            info, version = self._input.info, self._host.version
            self.recorder.begin(request, info, watch.plan_text, version, notices)
        self.recorder.start(self._pipeline.fed_s, os.getpid(), self._pipeline.audio_lost_s)

    def end(self, reason: str, listened: Sequence[Heard] = ()) -> None:
        """The watch ends in good order; `listened` as in `tick`."""
        if self.recorder is not None:
            outlook = self._pipeline.outlook
            outlook.finish()
            aside = (outlook.take_events(), outlook.take_stretches(), listened)
            self.recorder.aside(*aside, self._pipeline.fed_s)
            self.recorder.end(self._pipeline.fed_s, reason, self.checkpoint())

    def command(self, command: Command, who: ClientId, at_s: float) -> None:
        """Somebody asked for something, and it was done: a kill can't undo it any more."""
        if self.recorder is not None:
            self.recorder.asked(command, who, at_s, self.checkpoint())
            self.recorder.checked(self._pipeline.lines.take_unlogged())

    def audio_lost(self) -> None:
        """Take in what was lost so far, before the alarms of the same audio."""
        if self.recorder is not None:
            self.recorder.lost(self._pipeline.audio_lost_s, self._input.losses.reason)

    def events(self, events: Sequence[AlarmEvent]) -> None:
        """Alarms changed."""
        if events and self.recorder is not None:
            self.recorder.happened(events, self.checkpoint())

    def drill_faults(self) -> None:
        """In a drill: faults that were put in have begun."""
        if self.recorder is not None:
            self.recorder.planted(truths_of(self._input.source), self._pipeline.fed_s)

    def tick(self, at_s: float, problems: Sequence[str], listened: Sequence[Heard] = ()) -> None:
        """A tick is over.

        `problems` are what can't be done at the moment, one line each; `listened` what a person
        listened to in a round. Each kind of problem is logged as it begins, not as figures change.
        """
        outlook = self._pipeline.outlook
        signs, pickups = outlook.take_events(), outlook.take_stretches()
        if self.recorder is None:
            return
        self.recorder.aside(signs, pickups, listened, at_s)
        for mark in self._pipeline.take_marks():
            self.recorder.asked(mark, this_process("engine"), at_s, self.checkpoint())
        self.recorder.tick(self._pipeline.latest, at_s, self._standing)
        kinds = {without_numbers(line): line for line in problems}
        fresh = [line for kind, line in kinds.items() if kind not in self._logged_problems]
        if fresh:
            self.recorder.troubled(fresh, at_s)
        self._logged_problems = set(kinds)

    def state(self) -> LogState | None:
        """How long ago all was saved, and what keeps it; None where nothing is logged."""
        return None if self.recorder is None else self.recorder.log.state()

    def checkpoint(self) -> Checkpoint:
        """What a restart needs to go on from here."""
        pipeline, host, losses = self._pipeline, self._host, self._input.losses
        return Checkpoint(
            fed_s=pipeline.fed_s,
            audio_lost_s=pipeline.audio_lost_s,
            floor_dbfs=tuple(float(f) for f in pipeline.meter.learned().floor_dbfs),
            book=save(pipeline.book),
            steady_s=losses.steady_s(),
            boot=host.boot,
            utc_ms=host.utc_ms() - round(1000 * (host.clock() - losses.last_audio_at)),
            desk=pipeline.desk,
            line_results=pipeline.lines.checker.results,
            learned=pipeline.learned,
            inputs=tuple(t.input for t in pipeline.plan.tracks),
            server_source=server_source_of(self._input.info),
        )

    def _label(self, at_s: float) -> str:
        return self._pipeline.clock.label_at(at_s)[0]

    def _standing(self) -> tuple[Iterator[Incident], Checkpoint]:
        alarms = self._pipeline.book.track_alarms
        return (a.incident for a in alarms if a.incident is not None), self.checkpoint()
