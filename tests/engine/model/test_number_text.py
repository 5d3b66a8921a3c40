"""Numbers as people read them."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from engine.model.number_text import MINUS, NO_VALUE, number, number_or_dash


@given(st.floats(-1e6, 1e6), st.integers(0, 3), st.booleans())
def test_a_number_reads_back(value: float, digits: int, signed: bool) -> None:
    """No hyphen stands in it, and with a plain minus again it is the rounded value."""
    text = number(value, digits=digits, signed=signed)
    assert "-" not in text
    assert float(text.replace(MINUS, "-")) == round(value, digits)


def test_zero_has_no_minus() -> None:
    """What rounds to zero is zero, whichever side it comes from."""
    assert number(-0.04) == number(0.04) == "0.0"


def test_the_unit_follows_and_nothing_is_a_dash() -> None:
    """Unit after a space; a dash for no value, without a unit."""
    assert number(-23.44, "LUFS") == "−23.4 LUFS"
    assert number(3.0, "dB", digits=0, signed=True) == "+3 dB"
    assert number_or_dash(None, "LUFS") == NO_VALUE
