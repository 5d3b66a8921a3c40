"""Early signs in words."""

from __future__ import annotations

from app.models.sign_lines import sign_lines
from engine.model.early_signs import SIGN_WORDS, EarlySign, SignKind
from engine.model.tracks import Plan, Track

PLAN = Plan((Track(3, "Boom deck"), Track(4, "Rigger main"), Track(5, "Rigger safety")))


def test_one_track_says_what_changes_and_since_when() -> None:
    """Track, change with its unit and sign, how long, what to do; each sentence once."""
    sign = EarlySign(1, SignKind.NOISE_FLOOR, (3,), 600.0, -60.0, -54.6, (None, -60.0, -54.6))
    (line,) = sign_lines([sign], PLAN, 1200.0)
    assert line.title == "3 Boom deck"
    assert line.words == "Noise floor creeps up, +5.4 dB in 10 min."
    assert line.advice == "Next pause: RF level, transmitter gain."
    assert line.curve[-1] == -54.6


def test_a_receiver_names_its_tracks() -> None:
    """What its packs share is said of the receiver."""
    sign = EarlySign(1, SignKind.GAPS, (4, 5), 0.0, 0.0, 12.0, receiver="A")
    (line,) = sign_lines([sign], PLAN, 60.0)
    assert line.title == "Receiver A: 4 + 5"
    assert "+12 a minute" in line.words


def test_a_battery_says_how_long_it_lasts() -> None:
    """To its end and to the planned one; against its fellows."""
    due = EarlySign(-6, SignKind.BATTERY, (3,), 0.0, 75.0, 40.0)
    quick = EarlySign(-7, SignKind.BATTERY_QUICK, (3,), 0.0, 240.0, 95.0)
    lines = sign_lines([due, quick], PLAN, 60.0)
    assert lines[0].words == "Battery ends in 40 min, 35 min before the planned end."
    assert lines[1].words == "Its last battery lasted 1:35 h, others 4:00 h."


def test_every_kind_has_words() -> None:
    """None is forgotten."""
    assert set(SIGN_WORDS) == set(SignKind)
