"""On which other tracks a performer can be heard, as far as the sound itself told. Plain data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

SURE_DB: Final = 6.0
SURE_S: Final = 4
"""A voice at least this far over a track's own sound, in that many seconds, is no guess. Ours."""


@dataclass(frozen=True, slots=True)
class Pickup:
    """How a performer is heard on a track that is not theirs.

    who : the performer
    track : input number of what hears them
    over_db : their voice over that track's own sound, dB
    gain_db : their voice there against their own pack, dB
    delay_s : later there than on their own pack, s; negative where it is earlier
    seconds : in how many seconds of their speech alone that was seen
    last_s : stream time of the newest of them
    """

    who: str
    track: int
    over_db: float
    gain_db: float
    delay_s: float
    seconds: int
    last_s: float

    @property
    def guess(self) -> bool:
        """Too faint or too seldom to be relied on without listening."""
        return self.over_db < SURE_DB or self.seconds < SURE_S
