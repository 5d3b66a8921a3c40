"""An engine that goes on with another one's session, on a fake clock: time, losses, figures."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from engine.model import dataclass_json
from engine.model.commands import Acknowledge, Open, OutOfService, Shelve, Standby, Stop
from engine.model.messages import Block, Fault
from engine.runtime.runner import Asked
from engine.session.checkpoint import Checkpoint
from engine.session.loudness_totals import LoudnessTotals
from engine.session.resume import Resumed
from tests.support.live_watch import BLOCK, CREW, RATE_HZ, Clock, Live, LiveWatch, on, replay
from tests.support.memory_log import MemoryLog
from tests.support.signals import noise


def restarted(before: LiveWatch, away_s: float, **more: object) -> LiveWatch:
    """Another engine on the same session, that long after the first was killed."""
    kept = before.log.kept
    before.clock.now += away_s
    info = before.runner.input.info
    resumed = Resumed(Open(device="tower"), info, 3600.0, kept)
    return LiveWatch(before.mood, clock=before.clock, resumed=resumed, **more)


def test_a_restart_goes_on_where_the_session_was() -> None:
    """Floors, seen and shelved alarms, out of service and standby are as they were."""
    watch = LiveWatch(lambda now: "mute" if now >= 1015.0 else "on")
    shot = watch.run(20.0)
    (muted,) = [a for a in shot.alarms if a.incident.fault is Fault.MUTED]
    watch.run(1.2, Acknowledge(muted.incident.id), OutOfService(2, True))
    before = watch.run(1.2, Shelve(muted.incident.id, 300.0), Standby(True))
    floors = watch.runner.pipeline.meter.learned().floor_dbfs
    assert not math.isnan(floors[1])
    again = restarted(watch, 1.5)
    after = again.run(1.0)
    np.testing.assert_array_equal(again.runner.pipeline.meter.learned().floor_dbfs, floors)
    kept = [a for a in after.alarms if a.incident.id == muted.incident.id]
    assert [replace(a, incident=muted.incident) for a in kept] == [
        replace(a, incident=muted.incident)
        for a in before.alarms
        if a.incident.id == muted.incident.id
    ]
    assert after.standby
    assert after.out_of_service == (2,)


def test_a_restart_keeps_stream_time_in_step_and_owns_up_to_the_gap() -> None:
    """Stream time is where the clock is; the time nobody watched is lost audio, once."""
    watch = LiveWatch(on)
    watch.run(10.0)
    again = restarted(watch, 1.5)
    shot = again.run(5.0)
    assert shot.now_s == pytest.approx(again.clock.now - watch.start, abs=0.1)
    # What was not yet kept when it was killed counts as well, at most a second of it.
    assert 1.5 - 0.1 <= shot.audio_lost_s <= 2.7
    lost = [values for values in again.log.of("gap") if values[0] == "audio"]
    assert sum(values[5] for values in lost) == pytest.approx(shot.audio_lost_s)
    assert lost[0][7] == "the watch was restarted"
    assert Fault.INPUT_LOST not in {a.incident.fault for a in shot.alarms}


def test_each_engine_keeps_the_figures_of_its_own_stretch() -> None:
    """Every 20 s and at the end, by when the engine began; sound that came is all in them.

    By hand: the same noise all the time, so the RMS of each stretch is that of the noise.
    """
    watch = LiveWatch(on)
    watch.run(50.0)
    kept = watch.log.of("stretch")
    assert [begin_s for begin_s, *_ in kept] == [0.0, 0.0]
    assert [end_s for _, end_s, *_ in kept] == pytest.approx([20.0, 40.0], abs=0.25)
    again = restarted(watch, 1.5)
    begin_s = again.runner.pipeline.fed_s
    again.run(5.0)
    again.runner.commands.put(Asked(Stop(), CREW))
    again.runner.run()
    (last,) = again.log.of("stretch")
    assert last[:2] == (begin_s, again.runner.pipeline.fed_s)
    figures = dataclass_json.loads(LoudnessTotals, last[2])
    assert figures.measured_s == pytest.approx((5.0, 5.0), abs=0.2)
    sound = noise(-30.0, 1.0, RATE_HZ, tracks=2)[:BLOCK].astype(np.float64)
    rms = 10.0 * np.log10(2.0 * np.mean(sound**2, axis=0))
    assert figures.rms_dbfs == pytest.approx(tuple(rms), abs=0.1)


def test_numbers_of_incidents_are_never_given_twice() -> None:
    """After a restart new incidents have numbers that the session never used."""
    watch = LiveWatch(lambda now: "mute" if now % 10 >= 5 else "on")
    watch.run(20.0)
    used = {values[0] for values in watch.log.of("incident")}
    again = restarted(watch, 2.0)
    again.run(20.0)
    standing = {a.incident.id for a in watch.log.kept.book.alarms if a.incident is not None}
    fresh = {values[0] for values in again.log.of("incident")} - standing
    assert fresh
    assert not fresh & used


def assert_gaps_match_checkpoints(log: MemoryLog, lost_before_s: float = 0.0) -> None:
    """Wherever the log may be cut off, its gaps are what the state left to a restart counts."""
    gaps_s = lost_before_s
    for line in log.lines:
        if line.kind == "gap":
            gaps_s += line.values[5]
        elif line.kind == "kept":
            counted_s = dataclass_json.loads(Checkpoint, line.values[0]).audio_lost_s
            assert gaps_s == pytest.approx(counted_s)


@pytest.mark.parametrize("then_s", [0.0, 0.03, 0.06, 0.2, 1.5])
def test_a_restart_that_ends_before_its_first_tick_has_logged_its_gap(then_s: float) -> None:
    """However soon the crew commands or stops, the gap is in the log, with its reason."""
    watch = LiveWatch(on)
    watch.run(3.0)
    again = restarted(watch, 0.058)
    while not again.runner.pipeline.audio_lost_s:  # one block, less than a tick
        again.run(0.01)
    again.run(then_s, Standby(on=True))
    again.runner.commands.put(Asked(Stop(), CREW))
    again.runner.run()
    (gap,) = again.log.of("gap")
    assert gap[7] == "the watch was restarted"
    assert (
        gap[5] == pytest.approx(again.log.kept.audio_lost_s) == again.runner.snapshot().audio_lost_s
    )
    assert_gaps_match_checkpoints(again.log)


@pytest.mark.parametrize("mood", ["gone", "stall"])
def test_each_state_left_to_a_restart_counts_the_gaps_in_the_log(mood: str) -> None:
    """An input that goes and comes back every few seconds, with commands in between."""
    watch = LiveWatch(lambda now: mood if now % 7.0 < 3.0 else "on")
    for number in range(60):
        watch.run(0.37, Standby(on=number % 2 == 0))
    assert len(watch.log.of("gap")) >= 3
    assert_gaps_match_checkpoints(watch.log)


def test_a_restart_while_the_input_is_away_keeps_watching_for_it() -> None:
    """An engine that finds no input raises input_lost and picks it up when it is there."""
    watch = LiveWatch(on)
    watch.run(3.0)
    again = restarted(watch, 1.0)
    again.may_open = lambda now: now >= 1010.0
    assert Fault.INPUT_LOST in again.faults(again.run(2.0))
    assert Fault.INPUT_LOST not in again.faults(again.run(10.0))


@pytest.mark.parametrize(
    ("loop", "away_s", "at_s"), [(False, 3.0, 9.0), (True, 16.0, 4.0), (False, 99.0, 19.99)]
)
def test_a_replay_goes_on_where_the_take_is_by_now(loop, away_s, at_s) -> None:
    """After a restart the take is opened where it would be, round its end when it loops."""
    clock = Clock()
    request = Open(take="take.wav", start_s=2.0, loop=loop)
    runner, _ = replay(clock, request)
    while runner.pipeline.fed_s < 4.0:
        runner._turn()
    kept = replace(runner.log.checkpoint(), steady_s=clock.now)
    clock.now += away_s
    _, take = replay(clock, request, Resumed(request, runner.input.info, 2.0, kept))
    assert take.from_s == pytest.approx(at_s, abs=0.02)


def test_for_ten_seconds_after_a_restart_no_fault_that_stood_is_over(monkeypatch) -> None:
    """Detectors that begin anew have not looked long enough to say so; then they do."""
    rng, read = np.random.default_rng(3), Live.read

    def never_the_same(live: Live, timeout_s: float) -> Block | None:
        block = read(live, timeout_s)
        assert block is not None
        fresh = 0.02 * rng.standard_normal(block.samples.shape).astype(np.float32)
        return Block(fresh * (np.abs(block.samples).max(axis=0) > 0.0))

    monkeypatch.setattr(Live, "read", never_the_same)
    watch = LiveWatch(lambda now: "mute" if 1005.0 <= now < 1010.4 else "on")
    shot = watch.run(10.0)
    assert Fault.MUTED in watch.faults(shot)
    again = restarted(watch, 1.0)
    assert Fault.MUTED in again.faults(again.run(6.0))
    assert Fault.MUTED not in again.faults(again.run(6.0))


def test_a_crash_leaves_the_session_open_for_the_next_engine() -> None:
    """What is raised in the watch is no end of it: the log has none, all that came is there."""
    watch = LiveWatch(on)
    watch.run(2.0)
    watch.runner.pipeline.feed = lambda _: 1 / 0  # type: ignore[method-assign,assign,return-value]
    with pytest.raises(ZeroDivisionError):
        watch.runner.run()
    assert watch.log.of("run end") == []
    assert watch.log.kept.fed_s > 0.9
