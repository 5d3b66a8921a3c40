"""Naming each moment: from code, on through its loss, across jumps, and without any code.

Expected labels are counted by hand from the code that was put in (SMPTE ST 12-1).
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from engine.model.frame_rates import CODE_RATES
from engine.model.messages import Kind
from engine.model.timecode_frames import CodeFrame
from engine.model.tracks import Scene, Track
from engine.timecode.clock import Origin, Reference, TimecodeClock
from engine.timecode.frame_follower import Follower
from engine.timecode.track_reader import TimecodeReader
from tests.support.timecode_signals import Sound, code, noisy, still

RATE_HZ = 48_000
TICK = 4_800
LTC, FREE, FILE, DAY = Origin.LTC, Origin.FREE_RUNNING, Origin.FILE, Origin.TIME_OF_DAY


def silence(seconds: float) -> Sound:
    """Nothing."""
    return np.zeros(round(seconds * RATE_HZ), dtype=np.float32)


def heard(*parts: Sound, planned: str = "25", reference: Reference | None = None) -> TimecodeClock:
    """The clock after one timecode track played those parts."""
    sound = np.concatenate([*parts, silence(0.1)])
    reader = TimecodeReader(Scene((Track(1, kind=Kind.TIMECODE),), RATE_HZ, planned))
    clock = TimecodeClock(CODE_RATES[planned], RATE_HZ, reference)
    for start in range(0, len(sound) - TICK + 1, TICK):
        tick = sound[start : start + TICK, None]
        clock.update(reader.update(tick, (start + TICK) / RATE_HZ))
    return clock


def test_each_moment_has_the_label_of_its_frame() -> None:
    """At a frame's start its label begins; a moment before, the one before it still holds."""
    clock = heard(code("25", "21:05:00:00", 125, RATE_HZ))
    for frame in range(1, 120):
        label = CODE_RATES["25"].label(CODE_RATES["25"].frame("21:05:00:00") + frame)
        assert clock.label_at(frame / 25) == (label, LTC)
        assert clock.label_at(frame / 25 - 0.001)[0] != label
    assert clock.label_at(0.0) == ("21:05:00:00", LTC)


@pytest.mark.parametrize("word", CODE_RATES)
@pytest.mark.parametrize("speed", [0.95, 1.0, 1.05])
def test_at_any_rate_and_speed(word: str, speed: float) -> None:
    """Labels are the code's own, however fast it runs and whatever the plan says."""
    rate = CODE_RATES[word]
    frames = 150
    sound = noisy(code(word, "09:59:58:00", frames, RATE_HZ, speed=speed), 30.0)
    clock = heard(sound, planned="24" if word != "24" else "30")
    length_s = 1.0 / float(rate.rate) / speed
    for n in range(frames - 2):
        label = rate.label(rate.frame("09:59:58:00") + n)
        assert clock.label_at((n + 0.5) * length_s) == (label, LTC)
    assert clock.rate_at(1.0).labels_per_s == rate.labels_per_s


def test_on_loss_it_runs_on_and_says_so() -> None:
    """While no code comes labels go on by the sample clock, marked; then the code is back."""
    clock = heard(
        code("25", "21:05:00:00", 100, RATE_HZ),
        silence(6.0),
        code("25", "21:05:10:00", 50, RATE_HZ),
    )
    assert clock.label_at(3.99) == ("21:05:03:24", LTC)
    assert clock.label_at(7.0) == ("21:05:07:00", FREE)
    assert clock.label_at(11.0) == ("21:05:11:00", LTC)
    assert clock.label_at(30.0) == ("21:05:30:00", FREE)


def test_a_jump_does_not_change_what_was_before() -> None:
    """A moment before a jump keeps its label, so an onset there is named right afterwards."""
    clock = heard(code("25", "21:05:00:00", 100, RATE_HZ), code("25", "23:59:59:00", 50, RATE_HZ))
    assert clock.label_at(2.0) == ("21:05:02:00", LTC)
    assert clock.label_at(3.99) == ("21:05:03:24", LTC)
    assert clock.label_at(4.0) == ("23:59:59:00", LTC)
    assert clock.label_at(5.5) == ("00:00:00:12", LTC)


def test_code_that_stands_still_holds_the_label() -> None:
    """While one label comes again and again it is the label of each moment."""
    clock = heard(
        code("25", "21:05:00:00", 50, RATE_HZ),
        still("25", "21:05:01:24", 100, RATE_HZ),
        code("25", "21:05:02:00", 50, RATE_HZ),
    )
    for at_s in (2.1, 4.0, 5.9):
        assert clock.label_at(at_s) == ("21:05:01:24", LTC)
    assert clock.label_at(7.0) == ("21:05:03:00", LTC)


def test_without_code_a_take_counts_from_its_reference() -> None:
    """The file's time reference names each moment exactly, in drop-frame too."""
    reference = Reference(Fraction(18 * 3600 * RATE_HZ + 12 * RATE_HZ, RATE_HZ))
    clock = heard(silence(1.0), reference=reference)
    assert clock.label_at(0.28) == ("18:00:12:07", FILE)
    drop = TimecodeClock(CODE_RATES["29.97df"], RATE_HZ, Reference(Fraction(600)))
    assert drop.label_at(0.0) == ("00:10:00;00", FILE)


def test_without_any_reference_it_counts_from_zero() -> None:
    """A take that says nothing of its time begins at 0."""
    assert TimecodeClock(CODE_RATES["25"], RATE_HZ).label_at(1.0) == ("00:00:01:00", FILE)


def test_a_take_whose_code_begins_late_is_named_by_it_all_the_same() -> None:
    """start_timecode comes from LTC where a track decodes (CONTRACT.md), also before it began."""
    reference = Reference(Fraction(3600))
    clock = heard(silence(3.0), code("25", "21:05:03:00", 50, RATE_HZ), reference=reference)
    assert clock.label_at(0.0) == ("21:05:00:00", FREE)


def test_a_live_watch_had_the_time_of_day_before_its_code() -> None:
    """What was named by the time of day stays so."""
    reference = Reference.of(3600.0, RATE_HZ, live=True)
    clock = heard(silence(3.0), code("25", "21:05:03:00", 50, RATE_HZ), reference=reference)
    assert clock.label_at(1.0) == ("01:00:01:00", DAY)
    assert clock.label_at(4.0) == ("21:05:04:00", LTC)


@pytest.mark.parametrize("word", ["23.976", "29.97", "25", "29.97df"])
def test_without_code_a_live_label_is_the_time_of_day(word: str) -> None:
    """Eight hours later it still says what a clock says; in drop-frame to within three frames."""
    rate = CODE_RATES[word]
    clock = TimecodeClock(rate, RATE_HZ, Reference.of(3600.0, RATE_HZ, live=True))
    label, origin = clock.label_at(8 * 3600.0 + 0.5)
    frames = rate.frame(label)
    assert origin is DAY
    exact = rate.frame("09:00:00:00") + rate.labels_per_s // 2
    assert abs(frames - exact) <= (3 if rate.drop else 0)
    before = [rate.frame(clock.label_at(60.0 + n / 240.0)[0]) for n in range(480)]
    assert before == sorted(before)
    assert before[-1] - before[0] in (2 * rate.labels_per_s - 1, 2 * rate.labels_per_s)


def test_at_192_khz_no_label_is_early() -> None:
    """A label begins two samples before its frame at most: 10 microseconds."""
    rate_hz = 192_000
    clock = TimecodeClock(CODE_RATES["25"], rate_hz)
    follower = Follower(CODE_RATES["25"], rate_hz)
    made = [CodeFrame(1, 0, 0, n, False, 0, n * rate_hz / 25.0, rate_hz / 25.0) for n in range(25)]
    clock.update({0: follower.update(made, 1.0)})
    assert clock.label_at(0.4 - 20e-6)[0] == "01:00:00:09"
    assert clock.label_at(0.4)[0] == "01:00:00:10"


def test_a_take_that_begins_anew() -> None:
    """In a loop the reference holds again from there, and what was before keeps its labels."""
    clock = TimecodeClock(CODE_RATES["25"], RATE_HZ, Reference(Fraction(60)))
    clock.rewind(10.0)
    assert clock.label_at(9.0) == ("00:01:09:00", FILE)
    assert clock.label_at(11.0) == ("00:01:01:00", FILE)


def test_the_first_track_that_is_heard_says_the_time() -> None:
    """Of two timecode tracks the first one counts; while it is silent, the second."""
    two = (Track(1, kind=Kind.TIMECODE), Track(2, kind=Kind.TIMECODE))
    reader = TimecodeReader(Scene(two, RATE_HZ))
    clock = TimecodeClock(CODE_RATES["25"], RATE_HZ)
    first = np.concatenate([code("25", "10:00:00:00", 50, RATE_HZ), silence(2.0)])
    second = code("25", "20:00:00:00", 100, RATE_HZ)
    sound = np.stack([first, second], axis=1)
    for start in range(0, len(sound), TICK):
        clock.update(reader.update(sound[start : start + TICK], (start + TICK) / RATE_HZ))
    assert clock.label_at(1.0) == ("10:00:01:00", LTC)
    assert clock.label_at(3.5) == ("20:00:03:12", LTC)


def test_twelve_hours_stay_exact() -> None:
    """After half a day the label is the code's to the frame, with clocks 50 ppm apart."""
    clock = TimecodeClock(CODE_RATES["29.97"], RATE_HZ)
    from engine.timecode.frame_follower import Follower
    from tests.engine.timecode.test_frame_follower import run

    follower = Follower(CODE_RATES["29.97"], RATE_HZ)
    rate = CODE_RATES["29.97"]
    speed = 1.0 + 50e-6
    for n in range(0, 12 * 3600, 60):
        at_s = n / speed
        label = rate.label(round(n * float(rate.rate)))
        frames = run("29.97", label, 3, at_s=round(n * float(rate.rate)) / float(rate.rate) / speed,
                     speed=speed)  # fmt: skip
        clock.update({0: follower.update(frames, at_s + 0.2)})
    for n in (7, 6 * 3600 + 30, 12 * 3600 - 95):
        frame = int(n * float(rate.rate))
        assert clock.label_at((frame + 0.5) / float(rate.rate) / speed)[0] == rate.label(frame)
