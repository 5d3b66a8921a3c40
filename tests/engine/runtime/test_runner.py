"""The runner on a fake clock with fake sources: snapshots, stalls, losses, the log."""

from __future__ import annotations

import pytest

from engine.model.commands import Acknowledge, Look, Open, Shelve, Stop
from engine.model.messages import AlarmState, Fault
from engine.model.snapshot import LogState, Snapshot
from engine.runtime.input_supervisor import RETRY_S, STALL_S
from engine.runtime.runner import Asked
from tests.support.live_watch import BLOCK, CREW, RATE_HZ, Clock, LiveWatch, on, replay
from tests.support.memory_log import MemoryLog


def test_snapshots_come_at_twenty_a_second() -> None:
    """One second gives about 20 snapshots, each with the state of the log."""
    watch = LiveWatch(on)
    watch.run(1.0)
    assert 15 <= len(watch.shots) <= 21
    assert watch.shots[-1].log == LogState(0.2)
    assert watch.runner.watch.start_s == 3600.0


def test_what_was_measured_is_told_in_the_same_turn() -> None:
    """Every tick of 100 ms has a snapshot of the moment its last block came, wherever it begins."""
    watch = LiveWatch(on)
    watch.clock.now += 0.03  # the audio begins between two places of the grid
    watch.run(3.0)
    shots = {round(s.now_s, 3) for s in watch.shots}
    assert shots >= {round(0.1 * n, 1) for n in range(1, 30)}


def test_each_snapshot_says_when_its_newest_audio_came() -> None:
    """By the runner's own clock, that of the last block; it stands still while nothing comes."""
    watch = LiveWatch(lambda now: "on" if now < 1005.0 else "stall")
    watch.run(4.0)
    assert {round(s.heard_at - s.now_s, 6) for s in watch.shots} == {watch.start}
    came = watch.run(1.0).heard_at
    assert came == pytest.approx(1005.0, abs=2 * BLOCK / RATE_HZ)
    assert watch.run(3.0).heard_at == came


def test_a_stalled_source_is_input_lost_within_a_second() -> None:
    """Callbacks that stop without an error raise input_lost at once after the stall limit."""
    watch = LiveWatch(lambda now: "on" if now < 1005.0 else "stall")
    watch.run(5.0)
    shot = watch.run(0.9)
    assert STALL_S < 1.0
    assert Fault.INPUT_LOST in watch.faults(shot)
    assert "delivers nothing" in shot.notice


def test_time_goes_on_while_the_input_is_lost() -> None:
    """Stream time follows the clock, so that a shelving ends though no audio comes."""
    watch = LiveWatch(lambda now: "on" if now < 1005.0 else "stall")
    shot = watch.run(9.0)
    assert shot.now_s == pytest.approx(9.0, abs=0.2)
    (alarm,) = [a for a in shot.alarms if a.incident.fault is Fault.INPUT_LOST]
    watch.run(0.1, Shelve(alarm.incident.id, 2.0))
    assert watch.run(1.0).alarms[-1].state is AlarmState.SHELVED
    assert watch.run(2.0).alarms[0].state is AlarmState.UNACKNOWLEDGED


@pytest.mark.parametrize("how", ["gone", "stall"])
def test_a_lost_input_is_picked_up_by_name_within_three_seconds(how: str) -> None:
    """Once it can be opened again it is, and what lies between is lost audio in the log."""
    watch = LiveWatch(lambda now: how if 1005.0 <= now < 1015.0 else "on")
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
    watch = LiveWatch(lambda now: "stall" if 1005.0 <= now < 1025.0 else "on")
    watch.run(20.0)
    assert 2 <= len(watch.openings) <= 9
    assert Fault.INPUT_LOST not in watch.faults(watch.run(8.0))


def test_wall_clock_jumps_change_nothing_but_what_is_told() -> None:
    """With the wall clock set back and forth by hours, every snapshot is the same."""
    calm, jumpy = LiveWatch(on), LiveWatch(on)
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
    watch = LiveWatch(lambda now: "mute" if now >= 1002.0 else "on")
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
    watch = LiveWatch(on)
    watch.runner.commands.put(Asked(Stop(), CREW))
    watch.runner.run()
    assert watch.log.of("run end")[0][2] == "stopped by window"


def test_a_take_that_ends_is_shown_until_told_to_stop() -> None:
    """At its end the snapshot says so; the runner goes on publishing."""
    clock = Clock()
    log = MemoryLog()
    runner, _ = replay(clock, Open(take="take.wav", start_s=19.0), log=log)
    for _ in range(100):
        runner._turn()
    assert runner.snapshot().ended
    runner.commands.put(Asked(Stop(), CREW))
    runner.run()
    assert log.of("run end")[0][2] == "the take ended"


class Failing:
    """A computer that is about to fail; see `engine.runtime.computer`."""

    def __init__(self, waiting_s: object) -> None:
        self.problems: tuple[str, ...] = ()
        self.looks = 0

    def watch(self) -> None:
        pass

    def close(self) -> None:
        pass


def test_what_is_about_to_fail_is_shown_at_once_and_logged_once() -> None:
    """A line of the log for each kind of problem, however its figures change; it begins anew."""
    watch = LiveWatch(on, computer=Failing)
    watch.run(1.0)
    for left in range(60, 50, -1):
        watch.runner._computer.problems = (f"runs on its battery ({left} % left): plug it in",)
        shot = watch.run(0.5)
    assert shot.computer == ("runs on its battery (51 % left): plug it in",)
    assert shot.notice == ""
    watch.runner._computer.problems = ()
    assert watch.run(0.5).computer == ()
    watch.runner._computer.problems = ("runs on its battery (40 % left): plug it in",)
    watch.run(0.5)
    assert [values[0] for values in watch.log.of("problem")] == [
        "this computer: runs on its battery (60 % left): plug it in",
        "this computer: runs on its battery (40 % left): plug it in",
    ]
