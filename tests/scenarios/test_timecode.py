"""What a crew is told of its timecode: stories through the whole engine, deadlines by CONTRACT.md.

Amber 1 s and red 3 s without a valid frame; a jump amber within 1 s, a wrong rate within 5 s, and
neither ever red.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from engine.model.commands import Acknowledge, Break, Standby
from engine.model.messages import AlarmState, Block, Fault, Incident, Kind, Severity
from engine.model.tracks import BY_TIMECODE, Plan, Track
from engine.pipeline.pipeline import Pipeline
from tests.support.signals import noise
from tests.support.timecode_signals import Sound, code, still

RATE_HZ = 48_000


def silence(seconds: float) -> Sound:
    """Nothing on the timecode track."""
    return np.zeros(round(seconds * RATE_HZ), dtype=np.float32)


def line(label: str, seconds: float, word: str = "25") -> Sound:
    """Code that runs for so long."""
    return code(word, label, round(seconds * 25), RATE_HZ)


def pipeline(rolling: str = "hand", frame_rate: str = "25") -> Pipeline:
    """A watch of a timecode track and one pack."""
    tracks = (Track(1, kind=Kind.TIMECODE), Track(2))
    return Pipeline(Plan(tracks, frame_rate=frame_rate, rolling=rolling), RATE_HZ)


def play(watch: Pipeline, *parts: Sound, mute_pack: bool = False) -> None:
    """Feed code on track 1 and room noise (or nothing) on track 2."""
    sound = np.concatenate(parts)
    room = noise(-50.0, len(sound) / RATE_HZ + 0.01, RATE_HZ)[: len(sound), 0]
    watch.feed(Block(np.stack([sound, room * (not mute_pack)], axis=1)))


def found(watch: Pipeline) -> Sequence[Incident]:
    """The timecode incidents."""
    return [i for i in watch.incidents() if i.fault is Fault.TIMECODE]


def test_good_code_is_no_fault() -> None:
    """A minute of code through midnight says nothing, on any other track either."""
    watch = pipeline()
    play(watch, line("23:59:30:00", 60.0))
    assert watch.incidents() == ()
    assert watch.snapshot(60.0).timecode == "00:00:30:00"
    assert watch.snapshot(60.0).timecode_origin == "ltc"


def test_code_is_lost_and_comes_back() -> None:
    """Amber 1 s and red 3 s after the last valid frame, until it is back; labels run on."""
    watch = pipeline()
    play(watch, line("21:05:00:00", 5.0), silence(5.0))
    (lost,) = found(watch)
    assert lost.onset_s == pytest.approx(5.0, abs=0.05)
    assert lost.amber_s == pytest.approx(lost.onset_s + 1.0, abs=0.01)
    assert lost.red_s == pytest.approx(lost.onset_s + 3.0, abs=0.01)
    assert lost.detail == "no valid frame since 21:05:04:23", "the last before silence has no end"
    shown = watch.snapshot(10.0)
    assert (shown.timecode, shown.timecode_origin) == ("21:05:10:00", "ltc free-running")
    play(watch, line("21:05:10:00", 5.0))
    (lost,) = found(watch)
    assert lost.end_s == pytest.approx(10.0, abs=0.11)


def test_half_a_second_without_code_is_no_alarm() -> None:
    """A gap shorter than a second raises nothing."""
    watch = pipeline()
    play(watch, line("21:05:00:00", 5.0), silence(0.8), line("21:05:05:20", 5.0))
    assert found(watch) == []


def test_there_never_was_any_code() -> None:
    """A line without code from the start is amber after 1 s and red after 3."""
    watch = pipeline()
    play(watch, noise(-60.0, 5.0, RATE_HZ, seed=7)[:, 0])
    (lost,) = found(watch)
    assert (lost.onset_s, lost.amber_s, lost.red_s) == pytest.approx((0.0, 1.0, 3.0))
    assert lost.detail == "no valid frame since the watch began"


def test_a_jump() -> None:
    """Amber within a second, never red, saying from where to where; the onset is labelled right."""
    watch = pipeline()
    play(watch, line("21:05:00:00", 10.12), line("21:09:00:00", 5.0))
    (jump,) = found(watch)
    assert jump.detail == "jumped from 21:05:10:02 to 21:09:00:00"
    assert jump.severity is Severity.AMBER
    assert jump.red_s is None
    assert jump.onset_s == pytest.approx(10.12, abs=0.01)
    assert jump.amber_s is not None
    assert jump.amber_s - jump.onset_s < 1.0
    assert watch.clock.label_at(jump.onset_s - 0.02)[0] == "21:05:10:02"


def test_a_frame_that_came_twice() -> None:
    """Amber within a second, never red, naming the label; what follows is labelled by the code."""
    watch = pipeline()
    play(
        watch,
        line("21:05:00:00", 4.0),
        still("25", "21:05:03:24", 1, RATE_HZ),
        line("21:05:04:00", 4.0),
    )
    (twice,) = found(watch)
    assert twice.detail == "21:05:03:24 came twice"
    assert twice.onset_s == pytest.approx(4.0, abs=0.05)
    assert twice.amber_s is not None
    assert twice.amber_s - twice.onset_s < 1.0
    assert twice.red_s is None
    assert watch.clock.label_at(6.04)[0] == "21:05:06:00"


@pytest.mark.parametrize(
    ("word", "planned"), [("24", "25"), ("23.976", "24"), ("30", "29.97"), ("29.97", "29.97df")]
)
def test_another_rate_than_planned(word: str, planned: str) -> None:
    """Amber within 5 s of the code's begin, never red, naming both rates."""
    watch = pipeline(frame_rate=planned)
    play(watch, line("21:05:00:00", 8.0, word))
    (wrong,) = found(watch)
    assert wrong.detail == f"rate is {word}, plan says {planned}"
    assert wrong.amber_s is not None
    assert wrong.amber_s <= 5.0
    assert wrong.red_s is None


def test_code_that_stands_still() -> None:
    """Said within a second, in amber, with the label at which it stands."""
    watch = pipeline()
    play(watch, line("21:05:00:00", 4.0), still("25", "21:05:03:24", 100, RATE_HZ))
    (stopped,) = found(watch)
    assert stopped.detail == "code stands still at 21:05:03:24"
    assert stopped.onset_s == pytest.approx(4.0, abs=0.01)
    assert stopped.amber_s is not None
    assert stopped.amber_s < 5.0
    assert stopped.red_s is None


def test_code_played_backwards() -> None:
    """Said in amber."""
    watch = pipeline()
    play(watch, line("21:05:00:00", 4.0)[::-1])
    assert [i.detail.split(" at ")[0] for i in found(watch)] == ["code runs backwards"]


def test_a_take_that_begins_anew_does_not_jump() -> None:
    """In a loop the code goes back to its begin, which is no fault."""
    watch = pipeline()
    play(watch, line("21:05:00:00", 4.0))
    watch.rewind()
    play(watch, line("21:05:00:00", 4.0))
    assert found(watch) == []
    assert watch.snapshot(5.0).timecode == "21:05:01:00"


def test_standby_by_hand_hides_it() -> None:
    """While the crew is not rolling, timecode is suppressed by design (CONTRACT.md)."""
    watch = pipeline()
    watch.command(Standby(True), 0.0)
    play(watch, silence(5.0))
    (alarm,) = watch.snapshot(5.0).alarms
    assert alarm.state is AlarmState.SUPPRESSED


def test_the_limits_of_a_plan_hold() -> None:
    """A plan may set how long code may be gone, or switch the fault off."""
    limits = {"timecode_amber_s": 2.0, "timecode_red_s": 4.0}
    for given, times in ((limits, [(2.0, 4.0)]), ({"timecode": "off"}, [])):
        watch = Pipeline(Plan((Track(1, kind=Kind.TIMECODE, limits=given), Track(2))), RATE_HZ)
        play(watch, silence(6.0))
        assert [(i.amber_s, i.red_s) for i in found(watch)] == [pytest.approx(t) for t in times]


# ---- rolling = "timecode" ------------------------------------------------------------------------


def test_a_recorder_that_stops_by_itself() -> None:
    """Code that stops while nobody stood by: the watch stands by, and says so once, in amber.

    Muted packs alarm in standby too; nothing else does. When the code runs again it is over.
    """
    watch = pipeline(BY_TIMECODE)
    play(watch, line("21:05:00:00", 5.0))
    assert not watch.snapshot(5.0).standby
    play(watch, still("25", "21:05:04:24", 100, RATE_HZ))
    shown = watch.snapshot(9.0)
    assert shown.standby
    (alarm,) = shown.alarms
    assert alarm.state is AlarmState.UNACKNOWLEDGED
    assert alarm.incident.detail == "recorder stopped: its code stands still at 21:05:04:24"
    assert alarm.incident.onset_s == pytest.approx(5.0, abs=0.01)
    assert alarm.incident.amber_s == pytest.approx(5.6, abs=0.11)
    watch.command(Acknowledge(alarm.incident.id), 9.0)
    play(watch, line("21:05:05:00", 5.0))
    assert not watch.snapshot(14.0).standby
    assert watch.snapshot(14.0).alarms == ()
    (stopped,) = found(watch)
    assert stopped.red_s is None
    assert stopped.end_s == pytest.approx(9.0, abs=0.11)


def test_code_that_is_gone_is_a_recorder_that_stopped() -> None:
    """No code at all counts as stopped, and the words leave open that it may be the cable."""
    watch = pipeline(BY_TIMECODE)
    play(watch, line("21:05:00:00", 5.0), silence(10.0))
    (stopped,) = found(watch)
    assert stopped.detail.startswith("recorder stopped, or its code is lost")
    assert stopped.red_s is None
    assert watch.snapshot(15.0).standby


@pytest.mark.parametrize("told", [Standby(True), Break(True)])
def test_a_stop_that_the_crew_announced_is_no_alarm(told: Standby | Break) -> None:
    """Standby (or a break) by hand before the stop: nothing is said, and it rolls with the code."""
    watch = pipeline(BY_TIMECODE)
    play(watch, line("21:05:00:00", 5.0))
    watch.command(told, 5.0)
    play(watch, silence(5.0))
    assert found(watch) == []
    play(watch, line("21:05:05:00", 5.0))
    assert not watch.snapshot(15.0).standby
    assert found(watch) == [], "record-run code goes on from where it stopped: no jump"


def test_no_code_ever_leaves_the_watch_awake() -> None:
    """A cable that was never plugged in must not put the whole watch to sleep."""
    watch = pipeline(BY_TIMECODE)
    play(watch, silence(30.0), mute_pack=True)
    assert not watch.snapshot(30.0).standby
    assert [(i.severity, i.track) for i in found(watch)] == [(Severity.RED, 1)]
    assert [i.track for i in watch.incidents() if i.fault is Fault.MUTED] == [2]


def test_a_watch_that_begins_while_the_recorder_stands() -> None:
    """Code that stands still from the start is standby, and no alarm."""
    watch = pipeline(BY_TIMECODE)
    play(watch, still("25", "21:05:00:00", 125, RATE_HZ))
    assert watch.snapshot(5.0).standby
    assert found(watch) == []
