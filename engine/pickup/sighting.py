"""One second in which a track heard a performer. Plain data."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Sighting:
    """One second in which the track of that input heard a performer; see `model.pickups.Pickup`."""

    at_s: float
    track: int
    over_db: float
    gain_db: float
    delay_s: float
