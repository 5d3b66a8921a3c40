"""Code that comes, but is wrong.

Frames: SMPTE ST 12-1, made by our encoder, which libltc reads; what is wrong: CONTRACT.md.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.base import TickContext
from engine.detectors.timecode_wrong import TimecodeWrong
from engine.model.messages import Kind, State
from engine.model.tracks import BY_TIMECODE, Scene, Track
from tests.support.timecode_signals import Sound, code, still
from tests.support.watching import measurements, told

RATE = 48_000
TRACKS = (Track(1, kind=Kind.TIMECODE),)
SCENE = Scene(TRACKS, RATE)


def line(label: str, seconds: float, word: str = "25", speed: float = 1.0) -> Sound:
    """Code that runs."""
    return code(word, label, round(seconds * 25), RATE, speed=speed)


def what(detector: TimecodeWrong, *parts: Sound, scene: Scene = SCENE) -> list[str]:
    """What was told, each text once, in order."""
    sound = np.concatenate(parts)[:, None]
    texts: list[str] = []
    for m, feed in measurements(sound, scene):
        if detector.update(m, feed).state[0] == State.ACTIVE:
            texts.append(detector.detail(0))
    return list(dict.fromkeys(texts))


def test_good_code_is_right() -> None:
    """Steady code at the planned rate is clear, and stays so while no audio comes."""
    detector = TimecodeWrong(SCENE)
    assert what(detector, line("10:00:00:00", 6.0)) == []
    assert detector.update(None, TickContext(7.0, stalled=True)).state[0] == State.UNKNOWN


def test_a_jump_is_active_for_one_tick() -> None:
    """Its onset is where the new code begins; it is over at once."""
    sound = np.concatenate([line("10:00:00:00", 2.0), line("11:00:00:00", 2.0)])[:, None]
    ((onset_s, last_s),) = told(TimecodeWrong(SCENE), sound, SCENE).spans_s
    assert onset_s == pytest.approx(2.0, abs=0.001)
    assert last_s - onset_s <= 0.2


def test_a_wrong_rate_and_a_jump_are_told_together() -> None:
    """A jump while the rate is wrong is not lost in the words."""
    texts = what(
        TimecodeWrong(SCENE), line("10:00:00:00", 4.0, "24"), line("11:00:00:00", 5.0, "24")
    )
    assert texts[0] == "rate is 24, plan says 25"
    assert texts[1].startswith("jumped from 10:00:04:03 to 11:00:00:00")
    assert texts[-1].startswith("rate is 24, plan says 25; jumped from ")


def test_two_per_cent_fast() -> None:
    """A speed that is no rate is told as frames a second."""
    texts = what(TimecodeWrong(SCENE), line("10:00:00:00", 5.0, speed=1.02))
    assert texts == ["rate is 25.50, plan says 25"]


def test_a_frame_that_came_twice() -> None:
    """A duplicate is named."""
    parts = (
        line("10:00:00:00", 2.0),
        still("25", "10:00:01:24", 1, RATE),
        line("10:00:02:00", 2.0),
    )
    assert what(TimecodeWrong(SCENE), *parts) == ["10:00:01:24 came twice"]


def test_record_run_code_may_stand_and_go_on_anywhere() -> None:
    """Where code tells when it rolls, a stop is no wrong code, nor is a new label after it."""
    scene = Scene(TRACKS, RATE, rolling=BY_TIMECODE)
    gap = np.zeros(2 * RATE, dtype=np.float32)
    parts = (
        line("10:00:00:00", 2.0),
        still("25", "10:00:01:24", 50, RATE),
        line("10:00:02:00", 2.0),
        gap,
        line("12:00:00:00", 2.0),
    )
    assert what(TimecodeWrong(scene), *parts, scene=scene) == []
    assert what(TimecodeWrong(SCENE), *parts) == [
        "code stands still at 10:00:01:24",
        "jumped from 10:00:05:24 to 12:00:00:00",
    ]
