"""The early signs of a whole watch as records, and which of them came before an incident."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final

from engine.model.early_signs import SignEvent
from engine.model.messages import Incident
from engine.session.records import SignRecord

BEFORE_S: Final = 600.0
"""A sign that was over this long before an incident says nothing of it. Ours."""


class SignRecorder:
    """Fed with what began and what is over, in their order."""

    def __init__(self) -> None:
        self._records: dict[int, SignRecord] = {}

    def add(self, events: Iterable[SignEvent]) -> None:
        """Take in events."""
        for event in events:
            sign = event.sign
            if event.began:
                self._records[sign.id] = SignRecord(
                    sign.kind, sign.tracks, sign.since_s, event.at_s, None, sign.normal, sign.now
                )
            elif sign.id in self._records:
                ended = replace(self._records[sign.id], until_s=event.at_s)
                self._records[sign.id] = ended

    @property
    def records(self) -> tuple[SignRecord, ...]:
        """All of them, by their beginning."""
        order = sorted(self._records.values(), key=lambda r: (r.since_s, r.kind, r.tracks))
        return tuple(order)


def signs_before(incident: Incident, signs: Sequence[SignRecord]) -> tuple[SignRecord, ...]:
    """Signs that its track showed before it began, by time."""
    mine = set(incident.tracks) if incident.track is None else {incident.track}
    return tuple(
        sign
        for sign in signs
        if mine.intersection(sign.tracks)
        and sign.since_s < incident.onset_s
        and (sign.until_s is None or sign.until_s > incident.onset_s - BEFORE_S)
    )
