"""Runs one watch: reads the source, keeps the alarms going, hands out snapshots.

The only place in the engine that reads a clock. Live and replay differ by their source alone.
"""

from __future__ import annotations

import queue
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Final

from engine.commands import Command, Open, Stop, Watch
from engine.model import AlarmEvent, Block, Snapshot
from engine.opening import fitting_plan, open_source
from engine.pipeline import Pipeline
from engine.sources.base import EndOfTake, Source, SourceError
from engine.tracks import Plan

PUBLISH_S: Final = 0.05
"""A snapshot every 50 ms: 20 frames a second."""

STALL_S: Final = 0.7
"""No audio for this long, though no error came, is a stalled input."""

RETRY_S: Final = 1.0
"""How often a lost input is tried again."""

LOAD_WINDOW_S: Final = 1.0


class Runner:
    """One watch from opening to end.

    Parameters
    ----------
    request : Open
        What to watch.
    publish : callable
        Given each snapshot; must not block.
    clock : callable
        Seconds on a steady scale.

    Raises
    ------
    SourceError, PlanError
        Where source or plan can't be opened.
    """

    def __init__(
        self,
        request: Open,
        publish: Callable[[Snapshot], None],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._request = request
        self._publish = publish
        self._clock = clock
        self.commands: queue.SimpleQueue[Command] = queue.SimpleQueue()
        self._source: Source | None = open_source(request)
        try:
            self.plan: Plan = fitting_plan(request.plan, self._source.info)
        except BaseException:
            self._source.close()
            raise
        self._info = self._source.info
        self.pipeline = Pipeline(self.plan, self._info.sample_rate_hz)
        self.watch = self._watch()
        self._events: list[AlarmEvent] = []
        self._notice = " · ".join(self._info.notices)
        self._reason = ""
        self._ended = False
        now = clock()
        self._fed_at = self._stalled_at = self._published_at = self._tried_at = now
        self._load = _Load(now)

    def _watch(self) -> Watch:
        info = self._info
        live = info.live
        start_s = _time_of_day_s() if live else (info.start_s or 0.0) + self._request.start_s
        duration_s = None if info.frames is None else info.frames / info.sample_rate_hz
        return Watch(
            plan=self.plan,
            source=info.name if live else Path(info.name).name,
            rate=f"{info.sample_rate_hz / 1000:g} kHz",
            live=live,
            start_s=start_s,
            duration_s=None if duration_s is None else duration_s - self._request.start_s,
        )

    def run(self) -> None:
        """Watch until told to stop, or (without a window to look) to the end of the take."""
        try:
            while self._obey():
                self._turn()
        finally:
            if self._source is not None:
                self._source.close()

    def _obey(self) -> bool:
        """Do what the crew asked meanwhile; False once it asked to stop."""
        while True:
            try:
                command = self.commands.get_nowait()
            except queue.Empty:
                return True
            if isinstance(command, Stop):
                return False
            self._events += self.pipeline.command(command, self.pipeline.now_s)
            self._published_at = -PUBLISH_S  # what the crew did is to be seen at once

    def _turn(self) -> None:
        block = None if self._ended else self._read()
        now = self._clock()
        if block is not None:
            self._take_in(block, now)
        elif self._ended:
            time.sleep(PUBLISH_S / 2)
        elif self._info.live:
            self._keep_going(now)
        self._load.update(now)
        if now - self._published_at >= PUBLISH_S:
            self._published_at = now
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
            self._source.close()
            self._source = None
            self._reason = str(error)
            if not self._info.live:
                self._notice = self._reason
                self._ended = True
        return None

    def _at_end(self) -> None:
        assert self._source is not None
        self._source.close()
        if self._request.loop:
            self._source = open_source(self._request)
            return
        self._source = None
        self.pipeline.finish()
        self._ended = True

    def _try_again(self) -> None:
        """An input that went away is looked for by name, not by number."""
        time.sleep(PUBLISH_S)
        if not self._info.live or self._clock() - self._tried_at < RETRY_S:
            return
        self._tried_at = self._clock()
        try:
            source = open_source(Open(device=self._info.name))
        except SourceError:
            return
        same_rate = source.info.sample_rate_hz == self._info.sample_rate_hz
        if same_rate and source.info.channels >= self._info.channels:
            self._source = source
        else:
            source.close()
            self._reason = f"{self._info.name} came back with another rate or fewer inputs"

    def _take_in(self, block: Block, now: float) -> None:
        if self._reason:  # audio comes again: what came in between is lost
            away_s = now - self._fed_at - len(block.samples) / self._info.sample_rate_hz
            lost = max(round(away_s * self._info.sample_rate_hz), block.lost_frames)
            block = Block(block.samples, lost)
            self._reason = ""
        self._fed_at = now
        self._events += self.pipeline.feed(block)

    def _keep_going(self, now: float) -> None:
        """Nothing came: after a while that is a fault, and the alarms go on by the clock."""
        silent_s = now - self._fed_at
        if self._reason == "" and silent_s >= STALL_S:
            self._reason = f"{self._info.name} delivers nothing: its cable, power, then its clock"
        if self._reason and now - self._stalled_at >= self.pipeline.tick_s:
            self._stalled_at = now
            self._events += self.pipeline.stalled(self.pipeline.fed_s + silent_s, self._reason)

    def snapshot(self) -> Snapshot:
        """How it stands now, with what happened since the last one."""
        now_s = self.pipeline.fed_s
        if self._reason and self._info.live:
            now_s += self._clock() - self._fed_at
        events, self._events = self._events, []
        return self.pipeline.snapshot(
            now_s,
            events=events,
            engine_load=self._load.share,
            ended=self._ended,
            notice=self._reason or self._notice,
        )


class _Load:
    """The share of one core that this process uses, over the last second or so."""

    def __init__(self, now: float) -> None:
        self.share = 0.0
        self._at, self._cpu_s = now, time.process_time()

    def update(self, now: float) -> None:
        if now - self._at >= LOAD_WINDOW_S:
            cpu_s = time.process_time()
            self.share = (cpu_s - self._cpu_s) / (now - self._at)
            self._at, self._cpu_s = now, cpu_s


def _time_of_day_s() -> float:
    now = datetime.now()
    return now.hour * 3600 + now.minute * 60 + now.second + now.microsecond / 1e6
