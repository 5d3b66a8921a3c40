"""A round in the headphones: every track for some seconds, one after the other. Plain data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

SECONDS: Final = 8.0
LEAST_SECONDS: Final = 3.0
MOST_SECONDS: Final = 30.0


@dataclass(frozen=True, slots=True)
class Heard:
    """A person listened to the track of that input until `at_s`.

    `right`: what they said of it, None where nothing; `word`: in their words.
    """

    track: int
    from_s: float
    at_s: float
    right: bool | None = None
    word: str = ""


@dataclass(frozen=True, slots=True)
class RoundState:
    """How a round stands, and when each track was last heard.

    track : input number of what plays, None while no round runs
    left_s : how long it still plays, s; 0 where it waits for a pause in the talk
    staying : it plays until the crew goes on
    due : inputs still to be heard in this round, in their order
    heard : the last time of each track, in input order
    """

    track: int | None = None
    left_s: float = 0.0
    staying: bool = False
    due: tuple[int, ...] = ()
    heard: tuple[Heard, ...] = ()

    @property
    def on(self) -> bool:
        """A round runs."""
        return self.track is not None
