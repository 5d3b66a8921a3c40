"""Words and numbers."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app import text
from engine.model import Kind


@pytest.mark.parametrize(
    ("level", "words"),
    [
        (-27.4, "−27"),
        (-60.0, "−60"),
        (-60.01, "—"),
        (-0.4, "0"),
        (2.6, "3"),
        (math.nan, "—"),
        (-math.inf, "—"),
    ],
)
def test_level(level: float, words: str) -> None:
    """Whole numbers with a true minus; a dash for no level or one below -60 (-60 is shown)."""
    assert text.level(level) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "0:00"), (24.9, "0:24"), (70, "1:10"), (3723, "1:02:03"), (-1, "0:00")],
)
def test_lasted(seconds: float, words: str) -> None:
    """Minutes and seconds, hours only where there are any."""
    assert text.lasted(seconds) == words


def test_watching() -> None:
    """Time watched always shows hours."""
    assert text.watching(6130.9) == "01:42:10"


@pytest.mark.parametrize(
    ("seconds", "rate", "label"),
    [
        (76064.48, "25", "21:07:44:12"),
        (86399.99, "25", "23:59:59:24"),
        (86400.0, "25", "00:00:00:00"),
        (3603.6, "23.976", "01:00:00:00"),
        (3603.6, "29.97", "01:00:00:00"),
        (60.06, "29.97df", "00:01:00;02"),
        (600.0, "29.97df", "00:10:00;00"),
        (3600.0, "29.97df", "01:00:00;00"),
        (1.0, "30", "00:00:01:00"),
    ],
)
def test_clock(seconds: float, rate: str, label: str) -> None:
    """Labels as SMPTE ST 12-1 counts them: 3603.6 s an hour without drop-frame, 00 and 01 dropped.

    After 600 s drop-frame has counted 17982 frames and reads 00:10:00;00 again.
    """
    assert text.clock(seconds, rate) == label


@given(st.integers(min_value=0, max_value=2_589_407))
def test_drop_frame_never_shows_a_dropped_label(frame: int) -> None:
    """Labels 00 and 01 exist only in minutes divisible by ten (SMPTE ST 12-1)."""
    label = text.clock(frame * 1001 / 30000, "29.97df")
    hours, minutes, rest = label.split(":")
    seconds, frames = rest.split(";")
    assert not (seconds == "00" and int(frames) < 2 and int(minutes) % 10)
    count = ((int(hours) * 60 + int(minutes)) * 60 + int(seconds)) * 30 + int(frames)
    total = int(hours) * 60 + int(minutes)
    assert count - 2 * (total - total // 10) == frame


def test_numbers() -> None:
    """Few tracks are added up, many are shortened to runs."""
    assert text.numbers([7, 8]) == "7 + 8"
    assert text.numbers([1, 2, 3, 4, 9]) == "1–4, 9"
    assert text.numbers([]) == ""


def test_healthy_words() -> None:
    """Quiet talkback is as expected; a quiet lav is merely quiet."""
    assert text.healthy_word(Kind.COMMS, False) == ("quiet", "as expected")
    assert text.healthy_word(Kind.LAV, False) == ("quiet", "")
    assert text.healthy_word(Kind.LAV, True) == ("live", "")


def test_audio_lost() -> None:
    """Nothing lost is said plainly, and so is every loss."""
    assert text.audio_lost(0) == "Audio: nothing lost"
    assert text.audio_lost(0.0002) == "Audio: 1 ms lost"
    assert text.audio_lost(1.25) == "Audio: 1.2 s lost"
    assert text.audio_lost(75) == "Audio: 1:15 lost"


def test_small_words() -> None:
    """Sentences, cover and channel counts."""
    assert text.sentence("check the plug") == "Check the plug."
    assert text.sentence("") == ""
    assert text.covered_by(4) == "covered by 4"
    assert text.covered_by(None) == ""
    assert text.channels(1) == "1 input"
    assert text.channels(16) == "16 inputs"
    assert text.group_name("", Kind.BOOM) == "Booms"
    assert text.group_name("Casualty", Kind.LAV) == "Casualty"
