"""Where a text may be broken into lines: never inside a number, nor before its unit."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final

_NUMBER: Final = r"[−+-]?\d[\d:;.,–×/]*"
_UNIT: Final = r"(?:s|ms|min|h|%|×|dB\w*|LUFS|LU|k?Hz|V|\(\d+\))"
WHOLE: Final = re.compile(
    rf"(?<!\S)[(“]*{_NUMBER}(?: {_UNIT})?(?: \d+ (?:s|min))?[)”,.;:]*(?!\S)", re.ASCII
)
"""A label, a level, a length, with the signs around it: 21:00:10:00, (2 min 05 s), −24.1 dBFS."""


def parts(text: str) -> Iterator[tuple[str, bool]]:
    """The text in order, each part with whether it is to stay in one line."""
    at = 0
    for match in WHOLE.finditer(text):
        if match.start() > at:
            yield text[at : match.start()], False
        yield match[0], True
        at = match.end()
    if at < len(text):
        yield text[at:], False
