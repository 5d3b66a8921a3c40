"""Early signs, who was heard where, and what was listened to, as lines of the session log."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator

from engine.model.early_signs import SignEvent
from engine.model.pickups import Pickup
from engine.model.round_state import Heard
from engine.session.backlog import LogLine


def sign_lines(events: Iterable[SignEvent]) -> Iterator[LogLine]:
    """A row a sign, written when it begins and again when it is over."""
    for event in events:
        sign = event.sign
        until_s = None if event.began else event.at_s
        figures = (sign.since_s, event.at_s, until_s, sign.normal, sign.now)
        yield LogLine("sign", (sign.kind.value, json.dumps(sign.tracks), *figures))


def pickup_lines(pickups: Iterable[Pickup]) -> Iterator[LogLine]:
    """A row for each ten seconds of a performer on a track."""
    for p in pickups:
        figures = (p.over_db, p.gain_db, p.delay_s, p.seconds)
        yield LogLine("pickup", (p.last_s, p.who, p.track, *figures))


def listened_lines(heard: Iterable[Heard]) -> Iterator[LogLine]:
    """A row each time a person listened to a track."""
    for one in heard:
        yield LogLine("listened", (one.track, one.from_s, one.at_s, one.right, one.word))
