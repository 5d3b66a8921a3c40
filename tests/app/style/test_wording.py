"""Words and numbers."""

from __future__ import annotations

import math

import pytest
from PySide6.QtGui import QTextLayout

from app.style import theme, wording
from engine.model.messages import Kind


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
    assert wording.level(level) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "0:00"), (24.9, "0:24"), (70, "1:10"), (3723, "1:02:03"), (-1, "0:00")],
)
def test_lasted(seconds: float, words: str) -> None:
    """Minutes and seconds, hours only where there are any."""
    assert wording.lasted(seconds) == words


def test_watching() -> None:
    """Time watched always shows hours."""
    assert wording.watching(6130.9) == "01:42:10"


def test_origin() -> None:
    """Timecode that runs on without LTC says so; the other origins are named."""
    words = [wording.origin(o) for o in ("ltc", "ltc free-running", "file", "time of day", "")]
    assert words == ["LTC", "LTC lost, running on", "file", "time of day", ""]


def test_numbers() -> None:
    """Few tracks are added up, many are shortened to runs."""
    assert wording.numbers([7, 8]) == "7 + 8"
    assert wording.numbers([1, 2, 3, 4, 9]) == "1–4, 9"
    assert wording.numbers([]) == ""


def test_healthy_words() -> None:
    """Quiet talkback is as expected; a quiet lav is merely quiet."""
    assert wording.healthy_word(Kind.COMMS, False) == ("quiet", "as expected")
    assert wording.healthy_word(Kind.LAV, False) == ("quiet", "")
    assert wording.healthy_word(Kind.LAV, True) == ("live", "")


def test_audio_lost() -> None:
    """Nothing lost is said plainly, and so is every loss."""
    assert wording.audio_lost(0) == "Audio: nothing lost"
    assert wording.audio_lost(0.0002) == "Audio: 1 ms lost"
    assert wording.audio_lost(1.25) == "Audio: 1.2 s lost"
    assert wording.audio_lost(75) == "Audio: 1:15 lost"


def test_small_words() -> None:
    """Sentences, cover and channel counts."""
    assert wording.sentence("check the plug") == "Check the plug."
    assert wording.sentence("") == ""
    assert wording.covered_by(4) == "backup 4"
    assert wording.covered_by(None) == ""
    assert wording.channels(1) == "1 input"
    assert wording.channels(16) == "16 inputs"
    assert wording.group_name("", Kind.BOOM) == "Booms"
    assert wording.group_name("Mason", Kind.LAV) == "Mason"


@pytest.mark.parametrize("name", ["\u05e6\u05dc\u05e6\u05dc\u05df 2", "\u0631\u0627\u0641\u0639"])
def test_a_name_from_the_right_leaves_numbers_where_they_are(qapp: object, name: str) -> None:
    """Qt lays out the number before it on the left, as it stands in an English line (UAX #9)."""
    made = f"7 + 8 {wording.isolate(name)}"
    layout = QTextLayout(made, theme.font(15))
    layout.beginLayout()
    line = layout.createLine()
    layout.endLayout()
    places = [line.cursorToX(n)[0] for n in (0, 4, 6)]
    assert places == sorted(places)
    assert wording.isolate("Foreman") == "Foreman"
