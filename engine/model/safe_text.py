"""Texts from files and file names, as they may be shown: never steering a terminal or a screen."""

from __future__ import annotations

import json
import re
import unicodedata
from typing import Any, Final

# Marks that reorder the text around them on screen: a name could show as another.
_REORDERING: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")

_NUMBER: Final = re.compile(r"\d+(\.\d+)?")


def is_harmless(character: str) -> bool:
    """False for what could break a line, steer a terminal or reorder text on screen.

    Half of a surrogate pair counts too: a file name that is no UTF-8 has some, and no output can
    write them.
    """
    category = unicodedata.category(character)
    return category not in {"Cc", "Cs", "Zl", "Zp"} and character not in _REORDERING


def harmless(text: str) -> str:
    """`text` with "?" for every character that is not harmless: one line."""
    return "".join(c if is_harmless(c) else "?" for c in text)


def without_numbers(text: str) -> str:
    """`text` with "#" for each number: lines that say the same of other amounts are equal."""
    return _NUMBER.sub("#", text)


def json_text(value: Any, **how: Any) -> str:
    """`json.dumps` with readable letters; what is not harmless is escaped and reads back whole."""
    text = json.dumps(value, ensure_ascii=False, **how)
    if text.isascii() and "\x7f" not in text:  # json has escaped the control characters itself
        return text
    return "".join(c if c == "\n" or is_harmless(c) else f"\\u{ord(c):04x}" for c in text)
