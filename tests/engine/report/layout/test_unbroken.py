"""Where a line may be broken."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.report.layout.unbroken import parts
from tests.support.strategies import untimed


@pytest.mark.parametrize(
    "number",
    [
        *("21:00:10:00", "21:00:10;00", "58 min 58 s", "1 h 02 min", "−24.1 dBFS", "98.3 %"),
        *("30.0 s", ["1–4,", "9"][0], "(2 min 05 s),", "0.5", ["4 ×", "6.0 s)"][0]),
    ],
)
def test_a_number_stays_with_its_unit(number: str) -> None:
    """Labels, lengths, levels and shares, in the middle of a text."""
    assert (number, True) in list(parts(f"from {number} on"))


@untimed
@given(st.text(alphabet="ab 12.:;−(s)%", max_size=40))
def test_nothing_is_lost(text: str) -> None:
    """The parts together are the text."""
    assert "".join(part for part, _ in parts(text)) == text


def test_names_may_be_broken() -> None:
    """A figure in a name does not make it a number."""
    assert list(parts("T03_Rigger_main.wav")) == [("T03_Rigger_main.wav", False)]
