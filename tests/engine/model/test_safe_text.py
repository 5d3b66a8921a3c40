"""Texts from files are shown as text: no character of theirs steers anything."""

from __future__ import annotations

import json
import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.model.safe_text import harmless, is_harmless, json_text, without_numbers

any_text = st.text(st.characters(), max_size=30)
"""Halves of surrogate pairs are among them, as in file names that are no UTF-8."""


TURNING = ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")


def steers(character: str) -> bool:
    """By the Unicode Character Database: controls, line ends, surrogates, bidirectional marks."""
    category = unicodedata.category(character)
    return category in ("Cc", "Cs", "Zl", "Zp") or unicodedata.bidirectional(character) in TURNING


@given(any_text)
def test_one_line_that_any_output_can_write(text: str) -> None:
    """Nothing that steers is left, every other character stays in its place."""
    shown = harmless(text)
    assert not any(map(steers, shown))
    assert len(shown) == len(text)
    assert all(b == a or (steers(a) and b == "?") for a, b in zip(text, shown, strict=True))
    shown.encode("utf-8")


@given(st.dictionaries(any_text, st.lists(any_text | st.none() | st.integers()), max_size=4))
def test_json_reads_back_whole_and_steers_nothing(document: dict[str, list[object]]) -> None:
    """A script gets every name back as it is, a terminal comes to no harm."""
    for indent in (None, 1):
        text = json_text(document, indent=indent)
        assert json.loads(text) == document
        assert all(is_harmless(c) for c in text.replace("\n", ""))


def test_letters_of_other_languages_stay_readable() -> None:
    """Only what steers is escaped."""
    assert json_text(["Möwe", "灯台", "a\x7f\u202eb"]) == '["Möwe", "灯台", "a\\u007f\\u202eb"]'


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        ("so busy (97 %) that audio waits 0.6 s", "so busy (100 %) that audio waits 12 s", True),
        ("runs on its battery (62 % left)", "hot (98 °C)", False),
    ],
)
def test_lines_of_other_amounts_are_the_same(one: str, other: str, same: bool) -> None:
    """What is told anew is what differs in words."""
    assert (without_numbers(one) == without_numbers(other)) == same
