"""The runner on a fake clock with fake sources: stalls, losses, restarts, the log."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import pytest

from engine.model import dataclass_json
from engine.model.client_id import ClientId
from engine.model.commands import Acknowledge, Look, Open, OutOfService, Shelve, Standby, Stop
from engine.model.messages import AlarmState, Block, Fault, LogState, Snapshot
from engine.runtime.host import Host
from engine.runtime.input_supervisor import RETRY_S, STALL_S
from engine.runtime.runner import Asked, Runner
from engine.session.checkpoint import Checkpoint
from engine.session.loudness_totals import LoudnessTotals
from engine.session.resume import Resumed
from engine.session.writer import LogLine, Stamp
from engine.sources.base import EndOfTake, Source, SourceError, SourceInfo
from tests.support.signals import noise

RATE_HZ = 48_000
BLOCK = 1200
CREW = ClientId("window", "crew", 7)


@dataclass
class Clock:
    """Time that only sources and sleeping move."""

    now: float = 1000.0
    utc_ms: int = 1_700_000_000_000

    def __call__(self) -> float:
        return self.now

    def sleep(self, seconds: float) -> None:
        self.now += seconds


class Live:
    """A live input of two tracks on a fake clock; `mood` says what it does at a time.

    "on": delivers noise; "mute": zeros on track 1; "stall": nothing; "gone": fails.
    """

    def __init__(self, clock: Clock, mood: Callable[[float], str]) -> None:
        self.info = SourceInfo("tower interface", RATE_HZ, 2, ("", ""), live=True)
        self._clock, self._mood = clock, mood
        self._sound = noise(-30.0, 1.0, RATE_HZ, tracks=2)
        self.closed = False

    def read(self, timeout_s: float) -> Block | None:
        mood = self._mood(self._clock.now)
        if mood == "gone":
            raise SourceError("tower interface stopped delivering audio: check its cable")
        self._clock.now += BLOCK / RATE_HZ if mood != "stall" else timeout_s
        if mood == "stall":
            return None
        samples = self._sound[:BLOCK].copy()
        if mood == "mute":
            samples[:, 0] = 0.0
        return Block(samples)

    def close(self) -> None:
        self.closed = True


@dataclass
class Memory:
    """A log that keeps its lines."""

    lines: list[LogLine] = field(default_factory=list)
    problem: str = ""

    def write(self, lines: Sequence[LogLine], stamp: Stamp, *, now: bool = False) -> None:
        self.lines += lines

    def state(self) -> LogState:
        return LogState(0.2, self.problem)

    def close(self) -> None:
        pass

    def of(self, kind: str) -> list[tuple]:
        """The values of each line of that kind."""
        return [line.values for line in self.lines if line.kind == kind]

    @property
    def kept(self) -> Checkpoint:
        """What a restart would find."""
        return dataclass_json.loads(Checkpoint, self.of("kept")[-1][0])


class Watch:
    """A runner on a live input, driven second by second."""

    def __init__(self, mood: Callable[[float], str], **more: object) -> None:
        self.clock = more.pop("clock", None) or Clock()
        self.start = self.clock.now
        self.log = Memory()
        self.shots: list[Snapshot] = []
        self.openings: list[str] = []
        self.may_open = lambda now: True
        self.mood = mood
        world = Host(
            clock=self.clock,
            sleep=self.clock.sleep,
            utc_ms=lambda: self.clock.utc_ms,
            day_s=lambda: 3600.0,
            boot="one",
            open_source=lambda request: self._open("first"),
            open_again=lambda info: self._open(info.name),
        )
        request = Open(device="tower")
        self.runner = Runner(request, self.shots.append, world, log=self.log, **more)

    def _open(self, how: str) -> Source:
        self.openings.append(how)
        if not self.may_open(self.clock.now):
            raise SourceError("tower interface is gone: check its cable and power")
        return Live(self.clock, self.mood)

    def run(self, seconds: float, *commands: object) -> Snapshot:
        """Go on for that long; returns the last snapshot."""
        for command in commands:
            self.runner.commands.put(Asked(command, CREW))
        end = self.clock.now + seconds
        while self.clock.now < end and self.runner._obey():
            self.runner._turn()
        return self.runner.snapshot()

    def faults(self, shot: Snapshot) -> set[Fault]:
        """What stands, not what is over."""
        return {a.incident.fault for a in shot.alarms if a.incident.end_s is None}


def on(now: float) -> str:
    """The mood of an input that delivers noise."""
    return "on"


def test_snapshots_come_at_twenty_a_second() -> None:
    """One second gives about 20 snapshots, each with the state of the log."""
    watch = Watch(on)
    watch.run(1.0)
    assert 15 <= len(watch.shots) <= 21
    assert watch.shots[-1].log == LogState(0.2)
    assert watch.runner.watch.start_s == 3600.0


def test_what_was_measured_is_told_in_the_same_turn() -> None:
    """Every tick of 100 ms has a snapshot of the moment its last block came, wherever it begins."""
    watch = Watch(on)
    watch.clock.now += 0.03  # the audio begins between two places of the grid
    watch.run(3.0)
    shots = {round(s.now_s, 3) for s in watch.shots}
    assert shots >= {round(0.1 * n, 1) for n in range(1, 30)}


def test_each_snapshot_says_when_its_newest_audio_came() -> None:
    """By the runner's own clock, that of the last block; it stands still while nothing comes."""
    watch = Watch(lambda now: "on" if now < 1005.0 else "stall")
    watch.run(4.0)
    assert {round(s.heard_at - s.now_s, 6) for s in watch.shots} == {watch.start}
    came = watch.run(1.0).heard_at
    assert came == pytest.approx(1005.0, abs=2 * BLOCK / RATE_HZ)
    assert watch.run(3.0).heard_at == came


def test_a_stalled_source_is_input_lost_within_a_second() -> None:
    """Callbacks that stop without an error raise input_lost at once after the stall limit."""
    watch = Watch(lambda now: "on" if now < 1005.0 else "stall")
    watch.run(5.0)
    shot = watch.run(0.9)
    assert STALL_S < 1.0
    assert Fault.INPUT_LOST in watch.faults(shot)
    assert "delivers nothing" in shot.notice


def test_time_goes_on_while_the_input_is_lost() -> None:
    """Stream time follows the clock, so that a shelving ends though no audio comes."""
    watch = Watch(lambda now: "on" if now < 1005.0 else "stall")
    shot = watch.run(9.0)
    assert shot.now_s == pytest.approx(9.0, abs=0.2)
    (alarm,) = [a for a in shot.alarms if a.incident.fault is Fault.INPUT_LOST]
    watch.run(0.1, Shelve(alarm.incident.id, 2.0))
    assert watch.run(1.0).alarms[-1].state is AlarmState.SHELVED
    assert watch.run(2.0).alarms[0].state is AlarmState.UNACKNOWLEDGED


@pytest.mark.parametrize("how", ["gone", "stall"])
def test_a_lost_input_is_picked_up_by_name_within_three_seconds(how: str) -> None:
    """Once it can be opened again it is, and what lies between is lost audio in the log."""
    watch = Watch(lambda now: how if 1005.0 <= now < 1015.0 else "on")
    watch.may_open = lambda now: now >= 1015.0 or now < 1001.0
    watch.run(15.0)
    shot = watch.run(3.0)
    assert watch.openings[0] == "first"
    assert set(watch.openings[1:]) == {"tower interface"}
    assert Fault.INPUT_LOST not in watch.faults(shot)
    assert shot.audio_lost_s == pytest.approx(10.0, abs=RETRY_S + 1.0)
    assert shot.now_s == pytest.approx(watch.clock.now - watch.start, abs=0.2)
    lost = [values for values in watch.log.of("gap") if values[0] == "audio"]
    assert sum(values[5] for values in lost) == pytest.approx(shot.audio_lost_s, abs=0.1)


def test_an_input_that_opens_but_delivers_nothing_is_given_time() -> None:
    """A reopened input is let go of again only after it had its chance."""
    watch = Watch(lambda now: "stall" if 1005.0 <= now < 1025.0 else "on")
    watch.run(20.0)
    assert 2 <= len(watch.openings) <= 9
    assert Fault.INPUT_LOST not in watch.faults(watch.run(8.0))


def test_wall_clock_jumps_change_nothing_but_what_is_told() -> None:
    """With the wall clock set back and forth by hours, every snapshot is the same."""
    calm, jumpy = Watch(on), Watch(on)
    for second in range(5):
        jumpy.clock.utc_ms += 3_600_000 * (-1) ** second * second
        first, other = calm.run(1.0), jumpy.run(1.0)
        assert (first.now_s, first.audio_lost_s) == (other.now_s, other.audio_lost_s)
        assert watch_faults(first) == watch_faults(other)
    stamps = {values[1] for values in jumpy.log.of("level")}
    assert len(stamps) > 2


def watch_faults(shot: Snapshot) -> list[tuple]:
    """Incident and state of each alarm."""
    return [(a.incident, a.state) for a in shot.alarms]


def test_every_state_change_and_command_is_logged_with_who_and_when() -> None:
    """The log has the incident, its changes, and each command with user, place and position."""
    watch = Watch(lambda now: "mute" if now >= 1002.0 else "on")
    shot = watch.run(6.0)
    (alarm,) = [a for a in shot.alarms if a.incident.fault is Fault.MUTED]
    watch.run(0.5, Acknowledge(alarm.incident.id), Look("came"))
    changes = [values for values in watch.log.of("change") if values[0] == alarm.incident.id]
    assert [values[1] for values in changes] == ["raised", "escalated", "seen"]
    at_s, frame, utc_ms, timecode = changes[0][5:9]
    assert at_s == pytest.approx(alarm.incident.onset_s + 0.5)
    assert (frame, utc_ms) == (round(at_s * RATE_HZ), watch.clock.utc_ms)
    assert timecode == f"01:00:02:{int((at_s - 2.0) * 25):02}"
    assert [values[:5] for values in watch.log.of("action")] == [
        ("Acknowledge", f'{{"incident_id": {alarm.incident.id}}}', "crew", "window", 7),
        ("Look", '{"what": "came"}', "crew", "window", 7),
    ]
    seconds = [values[0] for values in watch.log.of("level")]
    assert seconds == list(range(len(seconds)))
    assert len(seconds) in (6, 7)


def test_it_ends_when_told_and_says_why() -> None:
    """`Stop` closes the source and the log says who asked."""
    watch = Watch(on)
    watch.runner.commands.put(Asked(Stop(), CREW))
    watch.runner.run()
    assert watch.log.of("run end")[0][2] == "stopped by window"


def restarted(before: Watch, away_s: float, **more: object) -> Watch:
    """Another engine on the same session, that long after the first was killed."""
    kept = before.log.kept
    before.clock.now += away_s
    info = before.runner.input.info
    resumed = Resumed(Open(device="tower"), info, 3600.0, kept)
    return Watch(before.mood, clock=before.clock, resumed=resumed, **more)


def test_a_restart_goes_on_where_the_session_was() -> None:
    """Floors, seen and shelved alarms, out of service and standby are as they were."""
    watch = Watch(lambda now: "mute" if now >= 1015.0 else "on")
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
    watch = Watch(on)
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
    watch = Watch(on)
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
    watch = Watch(lambda now: "mute" if now % 10 >= 5 else "on")
    watch.run(20.0)
    used = {values[0] for values in watch.log.of("incident")}
    again = restarted(watch, 2.0)
    again.run(20.0)
    standing = {a.incident.id for a in watch.log.kept.book.alarms if a.incident is not None}
    fresh = {values[0] for values in again.log.of("incident")} - standing
    assert fresh
    assert not fresh & used


def assert_gaps_match_checkpoints(log: Memory, lost_before_s: float = 0.0) -> None:
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
    watch = Watch(on)
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
    watch = Watch(lambda now: mood if now % 7.0 < 3.0 else "on")
    for number in range(60):
        watch.run(0.37, Standby(on=number % 2 == 0))
    assert len(watch.log.of("gap")) >= 3
    assert_gaps_match_checkpoints(watch.log)


def test_a_restart_while_the_input_is_away_keeps_watching_for_it() -> None:
    """An engine that finds no input raises input_lost and picks it up when it is there."""
    watch = Watch(on)
    watch.run(3.0)
    again = restarted(watch, 1.0)
    again.may_open = lambda now: now >= 1010.0
    assert Fault.INPUT_LOST in again.faults(again.run(2.0))
    assert Fault.INPUT_LOST not in again.faults(again.run(10.0))


class Take:
    """A take of two tracks, 20 s, that remembers where it was opened."""

    def __init__(self, from_s: float) -> None:
        self.info = SourceInfo("take.wav", RATE_HZ, 2, ("", ""), frames=20 * RATE_HZ)
        self.from_s = from_s
        self._left = round((20.0 - from_s) * RATE_HZ)

    def read(self, timeout_s: float) -> Block:
        if self._left <= 0:
            raise EndOfTake
        frames = min(BLOCK, self._left)
        self._left -= frames
        return Block(np.full((frames, 2), 0.01, dtype=np.float32))

    def close(self) -> None:
        pass


def replay(clock: Clock, request: Open, resumed: Resumed | None = None) -> tuple[Runner, Take]:
    """A runner on that take, and the source it opened last."""
    opened: list[Take] = []

    def open_take(wanted: Open) -> Take:
        opened.append(Take(wanted.start_s))
        return opened[-1]

    world = Host(clock=clock, sleep=clock.sleep, boot="one", open_source=open_take)
    runner = Runner(request, lambda shot: None, world, log=Memory(), resumed=resumed)
    return runner, opened[-1]


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
    kept = replace(runner.checkpoint(), steady_s=clock.now)
    clock.now += away_s
    _, take = replay(clock, request, Resumed(request, runner.input.info, 2.0, kept))
    assert take.from_s == pytest.approx(at_s, abs=0.02)


def test_a_take_that_ends_is_shown_until_told_to_stop() -> None:
    """At its end the snapshot says so; the runner goes on publishing."""
    clock = Clock()
    runner, _ = replay(clock, Open(take="take.wav", start_s=19.0))
    for _ in range(100):
        runner._turn()
    assert runner.snapshot().ended
    runner.commands.put(Asked(Stop(), CREW))
    runner.run()
    assert runner._recorder.log.of("run end")[0][2] == "the take ended"


def test_for_ten_seconds_after_a_restart_no_fault_that_stood_is_over(monkeypatch) -> None:
    """Detectors that begin anew have not looked long enough to say so; then they do."""
    rng, read = np.random.default_rng(3), Live.read

    def never_the_same(live: Live, timeout_s: float) -> Block | None:
        block = read(live, timeout_s)
        assert block is not None
        fresh = 0.02 * rng.standard_normal(block.samples.shape).astype(np.float32)
        return Block(fresh * (np.abs(block.samples).max(axis=0) > 0.0))

    monkeypatch.setattr(Live, "read", never_the_same)
    watch = Watch(lambda now: "mute" if 1005.0 <= now < 1010.4 else "on")
    shot = watch.run(10.0)
    assert Fault.MUTED in watch.faults(shot)
    again = restarted(watch, 1.0)
    assert Fault.MUTED in again.faults(again.run(6.0))
    assert Fault.MUTED not in again.faults(again.run(6.0))


def test_a_crash_leaves_the_session_open_for_the_next_engine() -> None:
    """What is raised in the watch is no end of it: the log has none, all that came is there."""
    watch = Watch(on)
    watch.run(2.0)
    watch.runner.pipeline.feed = lambda _: 1 / 0  # type: ignore[method-assign,assign,return-value]
    with pytest.raises(ZeroDivisionError):
        watch.runner.run()
    assert watch.log.of("run end") == []
    assert watch.log.kept.fed_s > 0.9
