"""Following code from frame to frame: jumps, repeats, stops, rates; frames as data, no sound."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.model.frame_rates import CODE_RATES
from engine.model.timecode_frames import CodeFrame, CodeReading
from engine.timecode.frame_follower import RATE_S, STILL_S, STOPPED_S, Follower

RATE_HZ = 48_000
WORDS = list(CODE_RATES)


def run(
    word: str, label: str, frames: int, at_s: float = 0.0, speed: float = 1.0, step: int = 1
) -> list[CodeFrame]:
    """Frames one after the other; `step` 0 stands still, -1 goes backwards."""
    rate = CODE_RATES[word]
    length = RATE_HZ / float(rate.rate) / speed
    made = []
    for n in range(frames):
        text = rate.label((rate.frame(label) + n * step) % rate.frames_per_day)
        h, m, s, f = (int(part) for part in text.replace(";", ":").split(":"))
        start = at_s * RATE_HZ + n * length
        made.append(CodeFrame(h, m, s, f, rate.drop, 0, start, length, reverse=step < 0))
    return made


def follow(planned: str, frames: list[CodeFrame], until_s: float = 0.0) -> list[CodeReading]:
    """Readings tick by tick, to 0.2 s after the last frame or `until_s`."""
    follower, readings, now_s = Follower(CODE_RATES[planned], RATE_HZ), [], 0.0
    left = list(frames)
    end_s = max(until_s, (left[-1].start_frames + left[-1].length_frames) / RATE_HZ + 0.2)
    while now_s < end_s:
        now_s += 0.1
        due = [f for f in left if f.start_frames + f.length_frames <= now_s * RATE_HZ]
        left = left[len(due) :]
        readings.append(follower.update(due, now_s))
    return readings


def jumps(readings: list[CodeReading]) -> list[tuple[str, str, int]]:
    """(before, after, repeats) of every jump told."""
    return [(r.jump.before, r.jump.after, r.jump.repeats) for r in readings if r.jump]


@settings(max_examples=40, deadline=None)
@given(
    word=st.sampled_from(WORDS),
    planned=st.sampled_from(WORDS),
    number=st.integers(0, 2_589_407),
    speed=st.floats(0.95, 1.05),
)
def test_steady_code_never_jumps(word: str, planned: str, number: int, speed: float) -> None:
    """Code that runs through any place of the day is never said to jump, whatever the plan says."""
    rate = CODE_RATES[word]
    label = rate.label(number % rate.frames_per_day)
    readings = follow(planned, run(word, label, 120, speed=speed))
    assert jumps(readings) == []
    assert all(r.moving for r in readings[2:-3])


@pytest.mark.parametrize("word", WORDS)
@pytest.mark.parametrize("planned", WORDS)
def test_the_rate_is_named_within_five_seconds(word: str, planned: str) -> None:
    """24 and 23.976, 30 and 29.97, drop-frame and not are told apart whatever the plan says."""
    readings = follow(planned, run(word, "10:00:00:00", 150))
    known = next(n for n, r in enumerate(readings) if r.measured)
    assert (known + 1) * 0.1 <= RATE_S + 1.5
    assert {r.measured for r in readings[known:]} == {word}


@pytest.mark.parametrize("ppm", [-100, 100])
def test_two_clocks_are_a_little_apart(ppm: int) -> None:
    """Two good clocks run 100 ppm apart at most: the rate is still the plan's."""
    readings = follow("25", run("25", "10:00:00:00", 400, speed=1.0 + ppm * 1e-6))
    assert {r.measured for r in readings} == {"", "25"}


def test_a_speed_of_no_rate_is_stated_as_a_number() -> None:
    """Two per cent fast is 25.5 frames a second."""
    assert follow("25", run("25", "10:00:00:00", 150, speed=1.02))[-1].measured == "25.50"


def test_a_jump_is_told_once() -> None:
    """From the last label before to the first one after, where it happened."""
    frames = run("25", "21:05:00:00", 78) + run("25", "21:09:00:00", 78, at_s=78 / 25)
    readings = follow("25", frames)
    assert jumps(readings) == [("21:05:03:02", "21:09:00:00", 0)]
    (told,) = [n for n, r in enumerate(readings) if r.jump]
    assert readings[told].jump is not None
    assert readings[told].jump.at_s == pytest.approx(78 / 25)
    assert (told + 1) * 0.1 - 78 / 25 <= 0.2


@pytest.mark.parametrize("by", [-1, 1, 2, -30])
def test_small_jumps_count(by: int) -> None:
    """A frame left out or come again is a jump as well."""
    rate = CODE_RATES["25"]
    second = rate.label(rate.frame("21:05:02:00") + by)
    frames = run("25", "21:05:00:00", 50) + run("25", second, 50, at_s=2.0)
    assert len(jumps(follow("25", frames))) == 1


def test_a_misread_frame_is_no_jump() -> None:
    """One odd label among good ones says nothing."""
    frames = run("25", "21:05:00:00", 60)
    frames[30] = replace(frames[30], minutes=15)
    readings = follow("25", frames)
    assert jumps(readings) == []
    assert readings[-1].label == frames[-1].label


def test_after_a_gap_what_is_due_is_no_jump() -> None:
    """A frame measured 3 % too long before a gap of two seconds makes no jump."""
    frames = run("25", "01:00:00:00", 100)
    frames[1] = replace(frames[1], length_frames=1.03 * frames[1].length_frames)
    frames[2] = replace(frames[2], length_frames=1.03 * frames[2].length_frames)
    assert jumps(follow("25", [*frames[1:3], *frames[52:]])) == []


def test_a_frame_that_came_twice() -> None:
    """The label that came again is named, with how often."""
    frames = run("25", "21:05:00:00", 50)
    frames += run("25", frames[-1].label, 1, at_s=2.0)
    frames += run("25", "21:05:02:00", 50, at_s=2.04)
    assert jumps(follow("25", frames)) == [("21:05:01:24", "21:05:02:00", 1)]


def test_code_that_stands_still() -> None:
    """After half a second of one label it stands still, since that label ended; going on is no
    jump."""
    frames = run("25", "21:05:00:00", 50) + run("25", "21:05:01:24", 50, 2.0, step=0)
    frames += run("25", "21:05:02:00", 50, at_s=4.0)
    readings = follow("25", frames)
    still = [n for n, r in enumerate(readings) if not math.isnan(r.still_s)]
    assert (still[0] + 1) * 0.1 == pytest.approx(2.0 + STILL_S, abs=0.15)
    assert [readings[n].still_s for n in still] == pytest.approx([2.0] * len(still))
    assert not any(readings[n].moving for n in still)
    assert jumps(readings) == []
    assert readings[-3].moving


def test_a_gap_that_the_code_ran_through() -> None:
    """Code that is back where it must be after a minute's loss did not jump."""
    frames = run("25", "21:05:00:00", 50) + run("25", "21:06:02:00", 50, at_s=62.0)
    readings = follow("25", frames)
    assert jumps(readings) == []
    lost = [n for n, r in enumerate(readings) if not r.moving and 15 < n < 620]
    assert (lost[0] + 1) * 0.1 == pytest.approx(2.0 + STOPPED_S, abs=0.11)


def test_a_gap_that_the_code_did_not_run_through() -> None:
    """Code that goes on elsewhere after a loss jumped, and how long it was gone is told."""
    frames = run("25", "21:05:00:00", 50) + run("25", "21:05:02:00", 50, at_s=12.0)
    readings = follow("25", frames)
    (jump,) = [r.jump for r in readings if r.jump]
    assert (jump.before, jump.after) == ("21:05:11:24", "21:05:02:00")
    assert jump.lost_s == pytest.approx(10.0)


def test_backwards_is_its_own_thing() -> None:
    """Code that turns round runs backwards; it does not jump at each frame."""
    frames = run("25", "21:05:00:00", 50) + run("25", "21:05:01:23", 40, 2.0, step=-1)
    readings = follow("25", frames)
    assert jumps(readings) == []
    assert readings[-3].reverse
    assert not readings[10].reverse


def test_labels_that_drop_frame_leaves_out_are_not_taken() -> None:
    """A label that can't be is no valid frame."""
    (frame,) = run("29.97df", "00:00:59;29", 1)
    wrong = replace(frame, minutes=1, seconds=0, frames=0)
    reading = Follower(CODE_RATES["29.97df"], RATE_HZ).update([wrong], 0.1)
    assert reading.newest is None
    assert math.isnan(reading.valid_s)
