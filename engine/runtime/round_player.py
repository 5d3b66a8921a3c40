"""Joins a round to the watch: what may be played, how loud, and what the headphones are asked."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from engine.detectors.guard import reason_of
from engine.listen.output import Asked
from engine.listen.rounds import Ears, RoundCommand, Rounds
from engine.model.commands import Listen, StopListening
from engine.model.messages import AlarmEvent, AlarmState, EventKind, Kind, Severity
from engine.model.round_state import Heard, RoundState
from engine.model.units import IDLE_DBFS
from engine.pipeline.pipeline import Pipeline

TARGET_LUFS: Final = -23.0
"""Every track of a round is brought to this, before the level that the crew has set (the programme
loudness of EBU R 128)."""
TALKING_HOPS: Final = 4
"""Of the ten of a tick."""
OPENS_S: Final = 1.0
"""Within so long an output that can't be opened says so; only later does a track count."""

_NOT_PLAYED: Final = (Kind.UNUSED, Kind.TIMECODE)


class RoundPlayer:
    """The rounds of one watch, as the runner has them; one that raises ends, and the watch goes on.

    Parameters
    ----------
    pipeline : Pipeline
    ask : callable
        Given what the headphones are to do.
    heard : sequence of Heard
        What a person listened to before a restart, oldest first.
    why_silent : callable
        Tells why nothing comes out of the headphones, one line; empty while all is well.
    """

    def __init__(
        self,
        pipeline: Pipeline,
        ask: Callable[[Asked], None],
        heard: Sequence[Heard] = (),
        why_silent: Callable[[], str] = str,
    ) -> None:
        self._pipeline, self._ask, self._why_silent = pipeline, ask, why_silent
        self._rounds = Rounds(heard)
        self._playing: int | None = None
        self.problem = ""
        """Why the last round broke off, one line; empty once another was asked for."""

    def command(self, command: RoundCommand, now_s: float) -> None:
        """Do what the crew asks."""
        self.problem = ""
        self._try(lambda: self._rounds.command(command, self._ears(()), now_s))

    def step(self, events: Sequence[AlarmEvent], now_s: float) -> None:
        """A tick is over, and this happened in it."""
        if self._playing is None:
            return
        if self._rounds.played_s(now_s) >= OPENS_S and (why := self._why_silent()):
            self.problem = f"the round is over, nothing is heard: {why}"
            self._rounds.unheard()
            self._playing = None
            return
        self._try(lambda: self._rounds.step(self._ears(events), now_s))

    def finish(self, now_s: float) -> list[Heard]:
        """The watch ends, and with it a round that runs; what was still not in the log."""
        self.listens_by_hand(now_s)
        return self.take_unlogged()

    def _try(self, do: Callable[[], int | None]) -> None:
        try:
            self._play(do())
        except Exception as error:
            traceback.print_exc()
            self.problem = f"the round broke off: {reason_of(error)}"
            self._rounds, self._playing = Rounds(), None
            self._ask(StopListening())

    def listens_by_hand(self, now_s: float) -> None:
        """The crew chose something to hear by itself: the round is over."""
        if self._playing is not None:
            self._rounds.end(now_s)
            self._playing = None

    def take_unlogged(self) -> list[Heard]:
        """What was listened to since the last call, for the log."""
        return self._rounds.take_unlogged()

    def state(self, now_s: float) -> RoundState:
        """How it stands now."""
        return self._rounds.state(now_s)

    def _play(self, track: int | None) -> None:
        if track == self._playing:
            return
        self._playing = track
        if track is None:
            self._ask(StopListening())
        else:
            self._ask(Listen(track, match_db=self._match_db(track)))

    def _match_db(self, track: int) -> float:
        """Gain that brings the track to `TARGET_LUFS`; 0 where its loudness is not known yet."""
        lufs = self._pipeline.totals().integrated_lufs[self._index(track)]
        return float(TARGET_LUFS - lufs) if lufs > IDLE_DBFS else 0.0

    def _index(self, track: int) -> int:
        return [t.input for t in self._pipeline.plan.tracks].index(track)

    def _ears(self, events: Sequence[AlarmEvent]) -> Ears:
        pipeline = self._pipeline
        latest = pipeline.latest
        aside = set(pipeline.book.inputs_out_of_service)
        for alarm in pipeline.book.alarms():
            if alarm.state is AlarmState.SHELVED:
                one = alarm.incident
                aside.update(one.tracks if one.track is None else (one.track,))
        tracks, talking = [], []
        for n, track in enumerate(pipeline.plan.tracks):
            if track.kind in _NOT_PLAYED or track.input in aside:
                continue
            if latest is None or latest.level_dbfs[n] > IDLE_DBFS:
                tracks.append(track.input)
            if latest is not None and np.count_nonzero(latest.speech[:, n]) >= TALKING_HOPS:
                talking.append(track.input)
        fault = next((n for n in map(_went_red, events) if n is not None), None)
        return Ears(tracks, pipeline.outlook.doubtful(), talking, fault)


def _went_red(event: AlarmEvent) -> int | None:
    """The input of an alarm that has just gone red."""
    incident = event.alarm.incident
    fresh = event.kind in (EventKind.RAISED, EventKind.ESCALATED)
    return incident.track if fresh and incident.severity is Severity.RED else None
