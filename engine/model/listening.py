"""What the headphones play, as the window is told of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

FIRST_LEVEL_DB: Final = -30.0
"""Each listening begins this low."""
LEAST_LEVEL_DB: Final = -60.0
LIMIT_DB: Final = -12.0
"""Neither the level nor a peak goes higher until the limit itself is raised on purpose."""
HIGHEST_LIMIT_DB: Final = 0.0
BEFORE_FAULT_S: Final = 5.0
"""Listening to a fault begins this long before its onset."""


@dataclass(frozen=True, slots=True)
class Listening:
    """How it stands with the headphones.

    track : input number of what is heard, None where nothing is
    at_s : stream time of what is heard now
    live : it follows the present; else it plays what was kept
    level_db, limit_db : gain, and the highest gain and peak (dBFS) allowed
    matched_db : gain added so that this pack is as loud as the other
    kept_s : how far back the memory reaches at most
    problem : why nothing is heard, one line; empty while all is well
    """

    track: int | None = None
    at_s: float = 0.0
    live: bool = True
    level_db: float = FIRST_LEVEL_DB
    limit_db: float = LIMIT_DB
    matched_db: float = 0.0
    kept_s: float = 0.0
    problem: str = ""
