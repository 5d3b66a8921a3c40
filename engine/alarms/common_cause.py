"""One alarm for faults that began together; those of the single tracks are suppressed meanwhile.

While every track of a cause is in fault, the cause's alarm speaks; theirs are suppressed but keep
their incidents. Once one track is back, whatever still stands speaks for itself again. Which alarm
suppresses which is the table in `cause_rules`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final

from engine.alarms.alarm import UNHEARD, Key, TrackAlarm
from engine.alarms.book import Book
from engine.alarms.cause_rules import (
    AT_ONCE_S,
    FAMILIES,
    LEAST_AT_ONCE,
    TOGETHER_S,
    Cause,
    Speaker,
    SuppressionRule,
    causes,
    common_onset_s,
    rule_for,
    suppresses,
)
from engine.alarms.machine import ActiveFault, Evaluation
from engine.alarms.unheard import UnheardAlarm
from engine.model.alarm_limits import NEVER
from engine.model.messages import AlarmEvent, Fault, Incident, State

OFF_DELAY_S: Final = TOGETHER_S + 1.0
"""Tracks that come back within `TOGETHER_S` come back together; 1 s is their own off-delay."""


class CauseAlarms:
    """Steps the alarms of common causes, after those of the tracks."""

    def __init__(self, book: Book) -> None:
        self._book = book
        self._causes = causes(book.scene.tracks)
        self._by_name = {cause.name: cause for cause in self._causes}
        self._unheard = UnheardAlarm(book)
        self._empty: set[int] = set()

    def step(
        self, track_events: list[AlarmEvent], start_s: float, now_s: float
    ) -> list[AlarmEvent]:
        """Take in one tick and what happened on the tracks; returns that and what is added.

        A track whose cause alarms in the same tick does not chime.
        """
        if not any(a.record.raised or a.part_of is not None for a in self._book.track_alarms):
            self._empty = set()
            return track_events
        events = [*track_events, *self._unheard.step(start_s, now_s)]
        self._empty = {
            alarm.track_index
            for alarm in self._book.track_alarms
            if alarm.part_of == UNHEARD and alarm.track_index is not None
        }
        open_alarms = [alarm for alarm in self._book.track_alarms if alarm.record.raised]
        standing = {alarm.key for alarm in open_alarms if alarm.is_cause}
        failed_by_family: dict[str, dict[int, TrackAlarm]] = {family: {} for family in FAMILIES}
        for alarm in open_alarms:
            if alarm.track_index is not None and alarm.key[1] in failed_by_family:
                failed_by_family[alarm.key[1]][alarm.track_index] = alarm
        for family, failed in failed_by_family.items():
            for cause in self._causes if len(failed) > 1 or standing else ():
                if len(failed) > 1 or (cause.name, family) in standing:
                    events += self._step_cause(cause, family, failed, start_s, now_s)
        incidents = (a.incident for a in self._book.track_alarms if a.part_of is not None)
        parts = {one.id: one for one in incidents if one is not None}
        return [_as_part(event, parts) for event in events]

    def _stands(self, cause: Cause, family: str) -> bool:
        """The alarm of that cause is raised."""
        alarm = self._book.find((cause.name, family))
        return alarm is not None and alarm.record.raised

    def _step_cause(
        self, cause: Cause, family: str, failed: dict[int, TrackAlarm], start_s: float, now_s: float
    ) -> list[AlarmEvent]:
        rule = rule_for(cause, family)
        if rule is None:
            return []
        aside = self._book.out_of_service | self._empty
        indices = [i for i in cause.track_indices if i not in aside]
        tracks = [failed[i] for i in indices if i in failed]
        within_s = self._within_s(rule, indices, tracks)
        key: Key = (cause.name, family)
        known = self._book.find(key)
        onset_s = None if within_s is None else self._onset_s(cause, within_s, family, tracks)
        if known is not None and known.record.raised:
            onset_s = known.record.since_s
        elif onset_s is None:
            return []
        evaluation = Evaluation(State.CLEAR, off_s=OFF_DELAY_S)
        if within_s is not None:
            fault = _common_fault(tracks, onset_s, now_s)
            evaluation = Evaluation(State.ACTIVE, (fault,), OFF_DELAY_S)
        rules = [alarm.rule for alarm in tracks] or ([known.rule] if known is not None else [])
        every = "all " if len(tracks) == len(indices) else ""
        detail = rule.detail.format(name=cause.name, count=len(tracks), all=every)
        inputs = tuple(self._book.scene.tracks[i].input for i in cause.track_indices)
        events = self._book.advance(
            key, rules, evaluation, lambda rule, index: detail, start_s, now_s, inputs
        )
        if self._stands(cause, family):
            others = self._with_it(cause, within_s, failed, onset_s)
            return events + self._suppress(cause, family, [*tracks, *others], now_s)
        return events + self._let_go(cause, family, now_s)

    def _with_it(
        self, cause: Cause, within_s: float | None, failed: dict[int, TrackAlarm], onset_s: float
    ) -> list[TrackAlarm]:
        """Other tracks, talkback say, that failed with the whole input: no sign of it, but its."""
        if cause.speaker is not Speaker.INPUT or within_s is None:
            return []
        others = [alarm for i, alarm in failed.items() if i not in cause.track_indices]
        return [alarm for alarm in others if abs(alarm.record.since_s - onset_s) <= within_s]

    def _within_s(
        self, rule: SuppressionRule, indices: list[int], tracks: list[TrackAlarm]
    ) -> float | None:
        """How close together their faults must have begun; None where too few are in fault."""
        if len(tracks) < 2:
            return None
        if len(tracks) >= rule.share * len(indices):
            # Each cable pops at times of its own; at one moment it is what they share.
            pops = any(alarm.rule.fault is Fault.CRACKLE for alarm in tracks)
            return AT_ONCE_S if pops else rule.within_s
        if rule.nearly is None or len(tracks) < max(LEAST_AT_ONCE, rule.nearly * len(indices)):
            return None
        known = self._book.scene.tracks
        receivers = {known[a.track_index].receiver for a in tracks if a.track_index is not None}
        return None if len(receivers) == 1 and receivers != {""} else AT_ONCE_S

    def _onset_s(
        self, cause: Cause, within_s: float, family: str, tracks: list[TrackAlarm]
    ) -> float | None:
        """Where these tracks failed together; None too where a wider cause speaks for them."""
        wider = any(
            suppresses(other, cause.speaker, family) and self._stands(other, family)
            for other in self._causes
        )
        records = [alarm.record for alarm in tracks]
        spans_s = [(record.since_s, record.until_s) for record in records]
        named_s = [(record.named_since_s, record.until_s) for record in records]
        if wider:
            return None
        onset_s = common_onset_s(spans_s, within_s)
        return common_onset_s(named_s, within_s) if onset_s is None else onset_s

    def _suppress(
        self, cause: Cause, family: str, tracks: list[TrackAlarm], now_s: float
    ) -> list[AlarmEvent]:
        """Suppress what the table lets this cause suppress: its tracks, and narrower causes."""
        narrower = [
            alarm
            for alarm in self._book.track_alarms
            if alarm.is_cause
            and alarm.key[1] == family
            and alarm.record.raised
            and suppresses(cause, self._speaker_of(alarm), family)
        ]
        events = []
        for alarm in (*tracks, *narrower):
            if alarm.part_of is None:
                alarm.part_of = cause.name
                self._book.mark_part(alarm)
                events += self._book.settle(alarm, now_s)
        return events

    def _speaker_of(self, alarm: TrackAlarm) -> Speaker:
        cause = self._by_name.get(str(alarm.key[0]))
        return Speaker.TRACK if cause is None else cause.speaker

    def _let_go(self, cause: Cause, family: str, now_s: float) -> list[AlarmEvent]:
        events = []
        for alarm in self._book.track_alarms:
            if alarm.key[1] == family and alarm.part_of == cause.name:
                alarm.part_of = None
                events += self._book.settle(alarm, now_s)
        return events


def _as_part(event: AlarmEvent, parts: Mapping[int, Incident]) -> AlarmEvent:
    """What happened to a track whose cause alarms in the same tick: part of it, and no chime."""
    incident = parts.get(event.alarm.incident.id)
    if incident is None:
        return event
    named = replace(event.alarm.incident, part_of=incident.part_of)
    return replace(event, alarm=replace(event.alarm, incident=named), audible=False)


def _common_fault(tracks: list[TrackAlarm], onset_s: float, now_s: float) -> ActiveFault:
    """The one fault that several tracks share; it lasts until the first of them is back."""
    best = max(tracks, key=lambda alarm: alarm.rule.rank)
    red = any(alarm.record.red_s is not None for alarm in tracks)
    return ActiveFault(
        fault=best.rule.fault,
        onset_s=onset_s,
        last_s=min(now_s, *(alarm.record.until_s for alarm in tracks)),
        amber_due_s=-NEVER,
        red_due_s=-NEVER if red else NEVER,
        may_be_red=red,
        rank=best.rule.rank,
    )
