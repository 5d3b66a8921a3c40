"""Words and numbers."""

from __future__ import annotations

import math

import pytest

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


def test_origin() -> None:
    """Timecode that runs on without LTC says so; the other origins are named."""
    words = [text.origin(o) for o in ("ltc", "ltc free-running", "file", "time of day", "")]
    assert words == ["LTC", "LTC lost, running on", "file", "time of day", ""]


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
