"""Anything in the engine may raise at any time: no audio is lost beyond a restart."""

from __future__ import annotations

import contextlib
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from engine.detectors.registry import DETECTORS
from engine.measure.meter import Meter
from engine.model.commands import Open, Stop
from engine.model.snapshot import Snapshot
from engine.model.tracks import Scene, Track
from engine.runtime.ipc import forget, new_address
from engine.runtime.runner import Asked, Runner
from engine.runtime.server import Server
from engine.session import writer as writer_module
from engine.session.reader import SessionReader
from engine.session.resume import resume
from engine.session.writer import SessionWriter
from tests.support.input_night import Interface, Machine
from tests.support.live_watch import CREW
from tests.support.strategies import untimed

AWAY_S = 1.5
"""From a crash to the next engine: what a window promises is 2 s."""

UNSAVED_S = 1.1
"""The state for a restart is a line of the log each second."""

RETRY_S = 0.8
"""A source that raised is opened anew after 0.5 s, and then delivers."""

_METER = Meter(Scene((Track(1), Track(2)), 8_000))
MEASURES = sorted(
    {type(part) for part in vars(_METER).values() if hasattr(part, "update")}, key=str
)


class Night:
    """A watch whose engine is followed by another one when it raises, on a real log."""

    def __init__(self, folder: Path) -> None:
        self.machine, self.folder = Machine(), folder
        self.start, self.crashes = self.machine.now, 0
        self.request = Open(device="tower")
        self.address = new_address()
        self.server = Server(self.address, lambda who, what: None)
        self.problems: set[str] = set()
        self._begin()

    def _begin(self, resumed: Any = None) -> None:
        self.log = SessionWriter(self.folder / "session.sqlite")
        host = replace(self.machine.host, boot="one", utc_ms=lambda: round(1000 * self.machine.now))
        self.runner = Runner(self.request, self._publish, host, log=self.log, resumed=resumed)

    def _publish(self, shot: Snapshot) -> None:
        self.problems.update(self.runner.problems)
        self.server.publish(shot)

    def run(self, until_s: float) -> None:
        """Go on until that time of the watch, with one engine after the other."""
        while self.machine.now - self.start < until_s:
            try:
                assert self.runner._obey()
                self.runner._turn()
            except ZeroDivisionError:
                self.crashes += 1
                self.machine.now += AWAY_S
                self.log.close()
                self._begin(resume(self.folder))

    def end(self) -> Snapshot:
        """End it; returns how it stood."""
        shot = self.runner.snapshot()
        self.runner.commands.put(Asked(Stop(), CREW))
        self.runner.run()
        self.log.close()
        self.server.close()
        forget(self.address)
        return shot


@contextmanager
def broken(owner: Any, name: str, holds: Callable[[], bool]) -> Iterator[None]:
    """That method of a class raises while that holds."""
    real = getattr(owner, name)

    def raising(*arguments: Any, **more: Any) -> Any:
        if holds():
            raise ZeroDivisionError("made to fail")
        return real(*arguments, **more)

    setattr(owner, name, raising)
    try:
        yield
    finally:
        setattr(owner, name, real)


@contextmanager
def a_night(owner: Any, name: str, from_s: float, for_s: float) -> Iterator[tuple[Night, Snapshot]]:
    """A watch of 9 s in which that method raises for a while; yields it with its last snapshot."""
    with tempfile.TemporaryDirectory() as folder:
        night = Night(Path(folder))

        def now_s() -> float:
            return night.machine.now - night.start

        with broken(owner, name, lambda: from_s <= now_s() < from_s + for_s):
            night.run(9.0)
        shot = night.end()
        behind_s = now_s() - shot.now_s
        assert -0.15 <= behind_s <= 0.35, "stream time is with the clock"
        yield night, shot


def lost_by_the_log(night: Night) -> float:
    """Lost audio in the log, s."""
    with SessionReader(night.folder) as log:
        return sum(gap.lost_s for gap in log.gaps("audio"))


spans = {"from_s": st.floats(2.5, 6.0), "for_s": st.floats(0.01, 2.0)}
few = settings(untimed, max_examples=12, phases=tuple(set(Phase) - {Phase.shrink}))
"""A smaller example of such a night tells no more, and takes minutes to find."""


@few
@given(kind=st.sampled_from(sorted(DETECTORS.items())), **spans)
def test_a_detector_that_raises_loses_no_audio(kind: Any, from_s: float, for_s: float) -> None:
    """At any time for any while: the same engine goes on, and says what it can't judge."""
    rule, detector = kind
    with a_night(detector, "update", from_s, for_s) as (night, shot):
        assert night.crashes == 0
        assert shot.audio_lost_s == 0.0
        if for_s > 0.2 and rule in night.runner.pipeline.judge.bank._watched:
            assert any(line.startswith(f"{rule} can't judge: Zero") for line in night.problems)


@few
@given(measure=st.sampled_from(MEASURES), **spans)
def test_a_measure_that_raises_costs_no_more_than_restarts(
    measure: type, from_s: float, for_s: float
) -> None:
    """Each crash costs the restart, and what the state for it had not seen."""
    with a_night(measure, "update", from_s, for_s) as (night, shot):
        assert shot.audio_lost_s <= night.crashes * (AWAY_S + UNSAVED_S)
        assert lost_by_the_log(night) == pytest.approx(shot.audio_lost_s, abs=1e-6)


@few
@given(**spans)
def test_a_source_that_raises_is_opened_anew(from_s: float, for_s: float) -> None:
    """The watch goes on without a restart; what was lost is told."""
    with a_night(Interface, "read", from_s, for_s) as (night, shot):
        assert night.crashes == 0
        assert shot.audio_lost_s <= for_s + RETRY_S + 0.3
        assert lost_by_the_log(night) == pytest.approx(shot.audio_lost_s, abs=1e-6)


@few
@given(error=st.sampled_from([ZeroDivisionError, MemoryError, sqlite3.Error]), **spans)
def test_a_log_thread_that_raises_loses_no_line(error: type, from_s: float, for_s: float) -> None:
    """It says so, begins anew, and all that waited is written."""
    real, failed = writer_module._write_all, []
    with tempfile.TemporaryDirectory() as folder:
        night = Night(Path(folder))

        def write(*arguments: Any) -> None:
            if from_s <= night.machine.now - night.start < from_s + for_s:
                failed.append(error)
                raise error("made to fail")
            real(*arguments)

        writer_module._write_all = write
        try:
            night.run(9.0)
            shot = night.end()
        finally:
            writer_module._write_all = real
        assert night.crashes == 0
        assert shot.audio_lost_s == 0.0
        with SessionReader(night.folder) as log:
            assert log.seconds() >= 8
            assert log.runs()[-1].end_reason is not None


@few
@given(name=st.sampled_from(["publish", "look_after"]), **spans)
def test_a_server_that_raises_costs_no_more_than_restarts(
    name: str, from_s: float, for_s: float
) -> None:
    """Whether in the turn of the watch or beside it."""
    with a_night(Server, name, from_s, for_s) as (night, shot):
        if name == "look_after":
            with contextlib.suppress(ZeroDivisionError):
                night.server.look_after()
        assert shot.audio_lost_s <= night.crashes * (AWAY_S + UNSAVED_S)


def test_every_part_of_the_meter_is_tried() -> None:
    """Loudness, true peak, floor, presence, code and the others; not a list kept by hand."""
    names = {measure.__name__ for measure in MEASURES}
    assert {"Loudness", "TruePeak", "LiveFloor", "Presence", "TimecodeReader"} <= names


def test_the_log_has_no_damage_after_many_crashes() -> None:
    """SQLite's own check of a log that five engines wrote."""
    measure = next(m for m in MEASURES if m.__name__ == "Loudness")
    with a_night(measure, "update", 2.5, 4.0) as (night, _):
        assert night.crashes >= 2
        with closing(sqlite3.connect(night.folder / "session.sqlite")) as log:
            assert log.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
