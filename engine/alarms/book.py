"""All alarms of one watch: one per track and fault family, stepped tick by tick.

Conditions come in as arrays; only alarms with something going on are stepped one by one.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from engine.alarms import machine
from engine.alarms.alarm import KINDS, UNHEARD, Key, TrackAlarm, urgency
from engine.alarms.coverage import Coverage
from engine.alarms.empty_inputs import EmptyInputs
from engine.alarms.evaluate import INPUT, Evaluator
from engine.alarms.machine import AlarmRecord, Change, Evaluation
from engine.alarms.states import Event, Phase
from engine.model.fault_rules import LOSS, FaultRule
from engine.model.messages import (
    Alarm,
    AlarmEvent,
    AlarmState,
    Condition,
    EventKind,
    Incident,
    Kind,
    Severity,
)
from engine.model.snapshot import Cover
from engine.model.tracks import Scene

Detail = Callable[[FaultRule, int], str]
"""What a rule's detector saw on the track of that index, one line."""


class Book:
    """The alarms of one watch.

    scene : the tracks
    standby : the crew is not rolling
    on_break : nothing but the ambience and the input itself is to alarm
    out_of_service : indices of the tracks that the crew took out
    history : incidents that have ended, oldest first; the newest `remembers` of them, or all
    last_id : number of the newest incident
    """

    def __init__(
        self, scene: Scene, rules: Sequence[FaultRule], remembers: int | None = None
    ) -> None:
        self.scene = scene
        self.standby = self.on_break = False
        self.out_of_service: set[int] = set()
        self.history: deque[Incident] = deque(maxlen=remembers)
        self.alarms_by_key: dict[Key, TrackAlarm] = {}
        self._evaluator = Evaluator(scene, rules)
        self._coverage = Coverage(scene.tracks)
        self.empty_inputs = EmptyInputs(scene)
        self._spoiled: set[int] = set()
        self._cover_may_differ = False
        self.last_id = 0

    @property
    def track_alarms(self) -> Collection[TrackAlarm]:
        """Every alarm that has had something to follow."""
        return self.alarms_by_key.values()

    def tracks_with(self, family: str) -> list[int]:
        """Indices of the tracks on which an alarm of that family stands."""
        return [
            alarm.track_index
            for alarm in self.track_alarms
            if alarm.key[1] == family and alarm.record.raised and alarm.track_index is not None
        ]

    def find(self, key: Key) -> TrackAlarm | None:
        """The alarm under that key, if it has had something to follow."""
        return self.alarms_by_key.get(key)

    def track_index_of(self, track: int) -> int | None:
        """Index of the track on that input."""
        inputs = [t.input for t in self.scene.tracks]
        return inputs.index(track) if track in inputs else None

    # ---- the watch goes on -------------------------------------------------------------------

    def step(
        self, conditions: Mapping[str, Condition], detail: Detail, start_s: float, now_s: float
    ) -> list[AlarmEvent]:
        """Take in one tick: a condition for each rule, by its name; returns what happened."""
        events: list[AlarmEvent] = []
        tick = self._evaluator.of(conditions)
        self.empty_inputs.follow(conditions, start_s)
        followed: dict[str, list[int]] = {}
        for (track_index, group), alarm in self.alarms_by_key.items():
            if isinstance(track_index, int) and not alarm.record.idle:
                followed.setdefault(group, []).append(track_index)
        for group, family in tick.families_to_step(followed):
            for track_index in tick.track_indices(family, followed.get(group, ())):
                evaluation = tick.evaluate(family, track_index, self._cover(track_index))
                inputs = tick.inputs(family, track_index)
                key: Key = (track_index, group)
                if group == LOSS:
                    known = self.alarms_by_key.get(key)
                    evaluation = self.empty_inputs.spared(track_index, evaluation, known)
                events += self.advance(key, family, evaluation, detail, start_s, now_s, inputs)
            if self._cover_may_differ:
                self.refresh_cover()
        return events

    def advance(
        self,
        key: Key,
        rules: Sequence[FaultRule],
        evaluation: Evaluation,
        detail: Detail,
        start_s: float,
        now_s: float,
        tracks: tuple[int, ...] = (),
    ) -> list[AlarmEvent]:
        """Step the alarm of that family; `tracks` lists the inputs that a common cause speaks for,
        or both of a fault that is about two."""
        alarm = self.alarms_by_key.get(key)
        if alarm is None:
            alarm = self.alarms_by_key[key] = TrackAlarm(key, rules[0])
        before = alarm.record
        alarm.record, changes = machine.step(before, evaluation, start_s, now_s)
        fault, rule = alarm.record.fault, rules[0]
        if rule.fault is not fault:
            rule = next((r for r in rules if r.fault is fault), alarm.rule)
        alarm.rule = rule
        track_index = key[0] if isinstance(key[0], int) else INPUT
        text = detail(alarm.rule, track_index) if evaluation.faults else ""
        updates: list[AlarmEvent] = []
        if evaluation.faults and before.raised:
            updates = self._update_incident(alarm, text, now_s)
        events = [self._event(alarm, before, change, text, tracks) for change in changes]
        self._cover_may_differ |= bool(updates or events)
        if len(events) > 1:  # amber and red at once: one chime, the red one
            events[0] = replace(events[0], audible=False)
        return updates + events

    def _update_incident(self, alarm: TrackAlarm, detail: str, now_s: float) -> list[AlarmEvent]:
        """Bring a standing incident up to date: its name, and what was seen."""
        assert alarm.incident is not None
        renamed = alarm.incident.fault is not alarm.rule.fault
        if renamed or alarm.incident.detail != detail:
            alarm.incident = replace(alarm.incident, fault=alarm.rule.fault, detail=detail)
        if not renamed:
            return []
        return [
            AlarmEvent(EventKind.RENAMED, now_s, alarm.shown),
            *self.settle(alarm, now_s),  # the new name may matter in standby, or not any more
        ]

    def _event(
        self,
        alarm: TrackAlarm,
        before: AlarmRecord,
        change: Change,
        detail: str,
        tracks: tuple[int, ...],
    ) -> AlarmEvent:
        if change.event is Event.CLEAR:
            assert alarm.incident is not None
            alarm.incident = replace(alarm.incident, end_s=before.until_s)
            self.history.append(alarm.incident)
            if alarm.unseen and alarm.part_of is None:
                alarm.record = machine.apply(alarm.record, Event.RETURN_UNSEEN)
                alarm.unseen = False
            return AlarmEvent(EventKind.CLEARED, change.at_s, alarm.shown)
        if change.event is Event.RAISE:
            alarm.incident = self._open_incident(alarm, tracks)
        alarm.seen_s = None
        assert alarm.incident is not None
        record = alarm.record
        alarm.incident = replace(
            alarm.incident,
            severity=Severity.RED if change.event is Event.ESCALATE else Severity.AMBER,
            red_s=record.red_s if change.event is Event.ESCALATE else None,
            detail=detail,
        )
        hidden_by = self.hidden_by(alarm)
        if hidden_by is not None:
            alarm.record = machine.apply(record, hidden_by)
        shown = alarm.shown
        audible = shown.state is AlarmState.UNACKNOWLEDGED and not shown.unstable
        return AlarmEvent(KINDS[change.event], change.at_s, shown, audible)

    def _open_incident(self, alarm: TrackAlarm, tracks: tuple[int, ...]) -> Incident:
        record = alarm.record
        assert record.fault is not None
        self.last_id += 1
        if alarm.key[0] == INPUT:
            tracks = tuple(track.input for track in self.scene.tracks)
        index = alarm.track_index
        track = None if index is None else self.scene.tracks[index].input
        return Incident(
            id=self.last_id,
            track=track,
            fault=record.fault,
            severity=Severity.AMBER,
            onset_s=record.since_s,
            amber_s=record.amber_s,
            tracks=tracks,
            part_of=alarm.part_of,
        )

    def mark_part(self, alarm: TrackAlarm) -> None:
        """Write into an incident which common cause it is part of."""
        if alarm.incident is not None:
            alarm.incident = replace(alarm.incident, part_of=alarm.part_of)

    def hidden_by(self, alarm: TrackAlarm) -> Event | None:
        """What hides this alarm by rule, if anything does."""
        if alarm.track_index in self.out_of_service:
            return Event.REMOVE
        in_standby = self.standby and not alarm.rule.in_standby
        in_break = self.on_break and self._rests_in_break(alarm)
        return Event.SUPPRESS if alarm.part_of is not None or in_standby or in_break else None

    def _rests_in_break(self, alarm: TrackAlarm) -> bool:
        """It does not matter in a break: it is about packs and booms, not about the ambience."""
        kinds = {self.scene.tracks[index].kind for index in self._indices_of(alarm)}
        return alarm.key[0] != INPUT and Kind.AMBIENCE not in kinds

    def settle(self, alarm: TrackAlarm, now_s: float) -> list[AlarmEvent]:
        """Hide a standing alarm that a rule hides now; bring back what none hides any more."""
        hidden_by = self.hidden_by(alarm)
        if hidden_by is None and alarm.record.state is AlarmState.SUPPRESSED:
            return alarm.release(EventKind.UNSUPPRESSED, None, now_s)
        if hidden_by is not None and alarm.record.raised:
            return alarm.hide(hidden_by, now_s)
        return []

    # ---- coverage ----------------------------------------------------------------------------

    def _spoiled_tracks(self) -> set[int]:
        spoiled = set(self.out_of_service)
        for alarm in self.track_alarms:
            if alarm.record.raised and alarm.rule.spoils:
                spoiled.update(self._indices_of(alarm))
        return spoiled

    def _indices_of(self, alarm: TrackAlarm) -> Collection[int]:
        """The tracks an alarm speaks for."""
        if alarm.key[0] == INPUT:
            return range(len(self.scene.tracks))
        if alarm.track_index is not None:
            return (alarm.track_index,)
        inputs = alarm.incident.tracks if alarm.incident is not None else ()
        return [index for index, t in enumerate(self.scene.tracks) if t.input in inputs]

    def _cover(self, track_index: int | None) -> int | None:
        if track_index is None or track_index == INPUT:
            return None
        return self._coverage.cover_of(track_index, self._spoiled)

    def refresh_cover(self) -> None:
        """Name the cover that each standing incident has now."""
        self._cover_may_differ = False
        self._spoiled = self._spoiled_tracks()
        for alarm in self.track_alarms:
            incident = alarm.incident
            if incident is None or not alarm.record.raised or not alarm.rule.spoils:
                continue
            cover = self._cover(alarm.track_index)
            indices = self._indices_of(alarm)
            uncovered = any(self._coverage.is_uncovered(i, self._spoiled) for i in indices)
            if (cover, uncovered) != (incident.covered_by, incident.uncovered):
                alarm.incident = replace(incident, covered_by=cover, uncovered=uncovered)

    def covers(self) -> tuple[Cover, ...]:
        """How each `who` stands now."""
        return self._coverage.covers(self._spoiled)

    # ---- how it stands -----------------------------------------------------------------------

    @property
    def inputs_out_of_service(self) -> tuple[int, ...]:
        """Input numbers of the tracks out of service."""
        return tuple(self.scene.tracks[i].input for i in sorted(self.out_of_service))

    def alarms(self) -> tuple[Alarm, ...]:
        """Every alarm that stands or has still to be seen, most urgent first."""
        return tuple(sorted((a.shown for a in self.track_alarms if a.standing), key=urgency))

    def incidents(self) -> tuple[Incident, ...]:
        """Every incident that stands or is in `history`, by onset.

        One whose condition is gone has ended, though its off-delay may still run.
        """
        open_now = [
            replace(
                a.incident, end_s=a.record.until_s if a.record.phase is Phase.CLEARING else None
            )
            for a in self.track_alarms
            if a.record.raised and a.incident is not None
        ]
        return tuple(sorted([*self.history, *open_now], key=lambda i: (i.onset_s, i.id)))

    def severities(self) -> NDArray[np.uint8]:
        """The worst severity that stands on each track now, shape (tracks,); 0 where none."""
        worst, of_all = [0] * len(self.scene.tracks), 0
        for alarm in self.track_alarms:
            if alarm.record.raised and not alarm.is_cause and alarm.part_of != UNHEARD:
                severity, index = int(alarm.record.severity), alarm.track_index
                if index is None:
                    of_all = max(of_all, severity)
                else:
                    worst[index] = max(worst[index], severity)
        return np.array([max(one, of_all) for one in worst], dtype=np.uint8)
