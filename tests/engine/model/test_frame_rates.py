"""Frame counting against SMPTE ST 12-1's own rules and the general library `timecode`."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from timecode import Timecode

from engine.model.frame_rates import CODE_RATES, FrameRate, frame_at, label_at

DROP = CODE_RATES["29.97df"]
RATES = st.sampled_from(list(CODE_RATES.values()))
LIBRARY_WORD = {"29.97df": "29.97"}


def library(rate: FrameRate, **how) -> Timecode:
    """The reference library's timecode; its frames count from 1."""
    word = LIBRARY_WORD.get(rate.word, rate.word)
    return Timecode(word, force_non_drop_frame=not rate.drop, **how)


def test_a_day_of_drop_frame_has_2589408_labels():
    """Drop-frame has 2 589 408 labels a day (SMPTE ST 12-1)."""
    assert DROP.frames_per_day == 2_589_408
    assert DROP.label(2_589_408) == "00:00:00;00"
    assert DROP.label(-1) == "23:59:59;29"


def test_drop_frame_leaves_out_00_and_01_except_in_the_tens_of_minutes():
    """Labels 00 and 01 are missing at each minute except 0, 10, ... 50 (SMPTE ST 12-1)."""
    for minute in range(60):
        before = DROP.frame(f"07:{minute:02}:59;29")
        tens = (minute + 1) % 10 == 0
        assert DROP.label(before + 1)[6:] == ("00;00" if tens else "00;02")
        if minute % 10:
            for frame in ("00", "01"):
                with pytest.raises(ValueError, match="does not exist"):
                    DROP.frame(f"07:{minute:02}:00;{frame}")


@given(rate=RATES, frame=st.integers(0, 3_000_000))
def test_frame_and_label_are_each_others_inverse(rate, frame):
    """Every frame of a day has one label, and that label gives the frame back."""
    frame %= rate.frames_per_day
    assert rate.frame(rate.label(frame)) == frame


@given(rate=RATES, frame=st.integers(0, 3_000_000))
def test_labels_agree_with_a_general_library(rate, frame):
    """The PyPI library `timecode` gives the same label to the same frame, both ways."""
    frame %= rate.frames_per_day
    label = rate.label(frame)
    assert str(library(rate, frames=frame + 1)) == label
    assert library(rate, start_timecode=label).frames == frame + 1


@given(rate=RATES, frame=st.integers(0, 3_000_000), fs=st.sampled_from([44_100, 48_000, 192_000]))
def test_a_frame_begins_at_the_first_sample_at_or_after_its_time(rate, frame, fs):
    """frame = floor(samples · rate / fs), exactly: on the boundary and one sample before it."""
    first = -(-frame * fs * rate.rate.denominator // rate.rate.numerator)
    assert frame_at(Fraction(first, fs), rate) == frame
    if first:
        assert frame_at(Fraction(first - 1, fs), rate) == frame - 1
    assert frame_at(first / fs, rate) == frame


@pytest.mark.parametrize(
    ("word", "samples", "label"),
    [
        ("25", 48_000 * 64_812 + 7 * 1920, "18:00:12:07"),
        ("25", 48_000 * 64_812 + 8 * 1920 - 1, "18:00:12:07"),
        ("24", 2_000 * 24 * 3600, "01:00:00:00"),
        ("23.976", 2_002 * 24 * 3600, "01:00:00:00"),
        ("29.97", 8_008 * 30 * 3600 // 5, "01:00:00:00"),
        ("30", 1_600 * 61, "00:00:02:01"),
    ],
)
def test_samples_since_midnight_become_the_label(word, samples, label):
    """At 48 kHz a frame has 2002, 2000, 1920, 1601.6 or 1600 samples (SMPTE ST 12-1 rates)."""
    assert label_at(Fraction(samples, 48_000), CODE_RATES[word]) == label


def test_labels_run_off_the_clock_by_the_known_amounts():
    """A day of drop-frame labels ends 86.4 ms early, an hour at 23.976 lasts 3603.6 s."""
    off_s = DROP.frames_per_day / DROP.rate - 86_400
    assert float(off_s) == pytest.approx(-0.0864, abs=1e-9)
    hour = CODE_RATES["23.976"].labels_per_s * 3600 / CODE_RATES["23.976"].rate
    assert hour == Fraction("3603.6")


@pytest.mark.parametrize(
    "text", ["", "1:2:3:4", "24:00:00:00", "00:60:00:00", "00:00:60:00", "00:00:00:25", "a" * 11]
)
def test_what_is_no_label_is_refused(text):
    """Wrong form and numbers out of range are ValueErrors."""
    with pytest.raises(ValueError, match="no timecode"):
        CODE_RATES["25"].frame(text)
