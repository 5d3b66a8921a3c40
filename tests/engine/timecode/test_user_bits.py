"""User bits as text and as a date."""

from __future__ import annotations

from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from engine.timecode.user_bits import as_text, date_in


def packed(day: int, month: int, year: int) -> int:
    """The binary groups of SMPTE ST 309, units first."""
    digits = (day % 10, day // 10, month % 10, month // 10, year % 10, year // 10)
    return sum(digit << 4 * n for n, digit in enumerate(digits))


@given(st.dates(date(2000, 1, 1), date(2099, 12, 31)))
def test_a_date_reads_back(when: date) -> None:
    """Any date of this century (SMPTE ST 309)."""
    assert date_in(packed(when.day, when.month, when.year - 2000)) == when.isoformat()


def test_what_is_no_date_is_none() -> None:
    """No month 0, no 31st of April, no digits above nine."""
    assert date_in(0) is None
    assert date_in(packed(31, 4, 26)) is None
    assert date_in(0xA) is None


def test_text_is_the_eighth_group_first() -> None:
    """As recorders show user bits."""
    assert as_text(0x0102_030F) == "0102030f"
