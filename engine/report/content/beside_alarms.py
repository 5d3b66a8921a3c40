"""What a session's log has beside its alarms: signs, who was heard where, what was listened to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from engine.model.early_signs import SIGN_WORDS
from engine.model.pickups import Pickup
from engine.model.round_state import Heard
from engine.session.reader import SessionReader
from engine.session.records import SignRecord

RECENT_S: Final = 120.0
"""What heard a performer so long before their packs failed is offered instead, as on the board."""


@dataclass(frozen=True, slots=True)
class BesideAlarms:
    """All of it, by time; empty in logs of earlier versions."""

    signs: tuple[SignRecord, ...] = ()
    pickups: tuple[Pickup, ...] = ()
    listened: tuple[Heard, ...] = ()


def read(log: SessionReader) -> BesideAlarms:
    """What that log has."""
    return BesideAlarms(log.signs(), log.pickups(), log.listened())


def sign_words(sign: SignRecord) -> str:
    """What changes, in a few words."""
    return SIGN_WORDS[sign.kind].what


def heard_before(who: str, onset_s: float, pickups: Sequence[Pickup]) -> Pickup | None:
    """The track that heard that performer best just before; None where none did."""
    near = [p for p in pickups if p.who == who and onset_s - RECENT_S <= p.last_s <= onset_s]
    return max(near, key=lambda p: (p.over_db, -p.track), default=None)


def longest_unheard_s(listened: Sequence[Heard], track: int, duration_s: float) -> float:
    """The longest time in which nobody listened to that track, s."""
    at = [0.0, *sorted(one.at_s for one in listened if one.track == track), duration_s]
    return max(later - earlier for earlier, later in pairwise(at))
