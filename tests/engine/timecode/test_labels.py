"""Out labels leave no bad frame in; differences of clocks as labels."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from engine.model.frame_rates import CODE_RATES, FRAME_RATES, label_at
from engine.timecode.labels import difference, first_after

RATES = st.sampled_from(list(CODE_RATES.values()))


@given(rate=RATES, second=st.integers(0, 86_000), hundredths=st.integers(0, 99))
def test_out_is_the_first_frame_that_begins_at_or_after(rate, second, hundredths):
    """By exact arithmetic: the ceiling of seconds times rate."""
    at_s = Fraction(100 * second + hundredths, 100)
    exact = -((-at_s * rate.rate) // 1)
    told = first_after(lambda s: label_at(s, rate), float(at_s), rate)
    assert told == rate.label(int(exact))


def test_a_moment_on_a_frame_has_its_own_label():
    """At 25 frames a second 1.00 s is frame 25, 1.01 s lies in it: the next is 26."""
    rate = FRAME_RATES["25"]
    assert first_after(lambda s: label_at(s, rate), 1.0, rate) == "00:00:01:00"
    assert first_after(lambda s: label_at(s, rate), 1.01, rate) == "00:00:01:01"


def test_a_difference_has_a_sign():
    """An hour ahead, a frame behind."""
    assert difference(90_000, FRAME_RATES["25"]) == "+01:00:00:00"
    assert difference(-1, FRAME_RATES["29.97df"]) == "−00:00:00;01"
