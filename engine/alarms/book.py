"""All alarms of one watch: one per track and fault family, stepped tick by tick.

Conditions come in as arrays; only alarms with something going on are stepped one by one.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from engine.alarms import machine
from engine.alarms.alarm import KINDS, Key, TrackAlarm, urgency
from engine.alarms.coverage import Coverage
from engine.alarms.evaluate import INPUT, Evaluations
from engine.alarms.machine import AlarmRecord, Change, Evaluation
from engine.alarms.states import Event
from engine.model.faults import FaultRule
from engine.model.messages import (
    Alarm,
    AlarmEvent,
    AlarmState,
    Condition,
    Cover,
    EventKind,
    Incident,
    Kind,
    Severity,
)
from engine.model.tracks import Scene

Detail = Callable[[FaultRule, int], str]
"""What a rule's detector saw on the track at that place, one line."""


class Book:
    """The alarms of one watch.

    scene : the tracks
    standby : the crew is not rolling
    on_break : nothing but the ambience and the input itself is to alarm
    removed : places of the tracks out of service
    history : every incident that has ended, oldest first
    last_id : number of the newest incident
    """

    def __init__(self, scene: Scene, rules: Sequence[FaultRule]) -> None:
        self.scene = scene
        self.standby = self.on_break = False
        self.removed: set[int] = set()
        self.history: list[Incident] = []
        self.entries_by_key: dict[Key, TrackAlarm] = {}
        self._readings = Evaluations(scene, rules)
        self._coverage = Coverage(scene.tracks)
        self._spoiled: set[int] = set()
        self._cover_may_differ = False
        self.last_id = 0

    @property
    def entries(self) -> Collection[TrackAlarm]:
        """Every alarm the book has come to know."""
        return self.entries_by_key.values()

    def entry(self, key: Key) -> TrackAlarm | None:
        """The alarm under that key, if the book has come to know it."""
        return self.entries_by_key.get(key)

    def place_of(self, track: int) -> int | None:
        """The place of the track on that input."""
        inputs = [t.input for t in self.scene.tracks]
        return inputs.index(track) if track in inputs else None

    # ---- the watch goes on -------------------------------------------------------------------

    def step(
        self, conditions: Mapping[str, Condition], detail: Detail, start_s: float, now_s: float
    ) -> list[AlarmEvent]:
        """Take in one tick: a condition for each rule, by its name; returns what happened."""
        events: list[AlarmEvent] = []
        standing = self._readings.of(conditions)
        followed: dict[str, list[int]] = {}
        for (place, group), entry in self.entries_by_key.items():
            if isinstance(place, int) and not entry.core.idle:
                followed.setdefault(group, []).append(place)
        for family in standing.stirring(followed):
            group = family[0].group
            for at in standing.places(family, followed.get(group, ())):
                reading = standing.reading(family, at, self._cover(at))
                inputs = standing.inputs(family, at)
                key: Key = (at, group)
                events += self.advance(key, family, reading, detail, start_s, now_s, inputs)
            if self._cover_may_differ:
                self.refresh_cover()
        return events

    def advance(
        self,
        key: Key,
        rules: Sequence[FaultRule],
        reading: Evaluation,
        detail: Detail,
        start_s: float,
        now_s: float,
        tracks: tuple[int, ...] = (),
    ) -> list[AlarmEvent]:
        """Step the alarm of that family; `tracks` lists the inputs that a cause speaks for, or
        both of a fault that is about two."""
        entry = self.entries_by_key.setdefault(key, TrackAlarm(key, rules[0]))
        before = entry.core
        entry.core, changes = machine.step(before, reading, start_s, now_s)
        entry.rule = next((r for r in rules if r.fault is entry.core.fault), entry.rule)
        place = key[0] if isinstance(key[0], int) else INPUT
        text = detail(entry.rule, place) if reading.names else ""
        events: list[AlarmEvent] = []
        if reading.names and before.raised:
            events += self._retell(entry, text, now_s)
        told = [self._record(entry, before, change, text, tracks) for change in changes]
        self._cover_may_differ |= bool(events or told)
        if len(told) > 1:  # amber and red at once: one chime, the red one
            told[0] = replace(told[0], audible=False)
        return events + told

    def _retell(self, entry: TrackAlarm, detail: str, now_s: float) -> list[AlarmEvent]:
        """Bring a standing incident up to date: its name, and what was seen."""
        assert entry.incident is not None
        renamed = entry.incident.fault is not entry.rule.fault
        if renamed or entry.incident.detail != detail:
            entry.incident = replace(entry.incident, fault=entry.rule.fault, detail=detail)
        if not renamed:
            return []
        return [
            AlarmEvent(EventKind.RENAMED, now_s, entry.alarm),
            *self.settle(entry, now_s),  # the new name may matter in standby, or not any more
        ]

    def _record(
        self,
        entry: TrackAlarm,
        before: AlarmRecord,
        change: Change,
        detail: str,
        tracks: tuple[int, ...],
    ) -> AlarmEvent:
        if change.event is Event.CLEAR:
            assert entry.incident is not None
            entry.incident = replace(entry.incident, end_s=before.until_s)
            self.history.append(entry.incident)
            return AlarmEvent(EventKind.CLEARED, change.at_s, entry.alarm)
        if change.event is Event.RAISE:
            entry.incident = self._opened(entry, tracks)
        entry.seen_s = None
        assert entry.incident is not None
        core = entry.core
        entry.incident = replace(
            entry.incident,
            severity=Severity.RED if change.event is Event.ESCALATE else Severity.AMBER,
            red_s=core.red_s if change.event is Event.ESCALATE else None,
            detail=detail,
        )
        hidden_by = self.hidden_by(entry)
        if hidden_by is not None:
            entry.core = machine.hide(core, hidden_by)
        alarm = entry.alarm
        audible = alarm.state is AlarmState.UNACKNOWLEDGED and not alarm.unstable
        return AlarmEvent(KINDS[change.event], change.at_s, alarm, audible)

    def _opened(self, entry: TrackAlarm, tracks: tuple[int, ...]) -> Incident:
        core = entry.core
        assert core.fault is not None
        self.last_id += 1
        if entry.key[0] == INPUT:
            tracks = tuple(track.input for track in self.scene.tracks)
        return Incident(
            id=self.last_id,
            track=None if entry.place is None else self.scene.tracks[entry.place].input,
            fault=core.fault,
            severity=Severity.AMBER,
            onset_s=core.since_s,
            amber_s=core.amber_s,
            tracks=tracks,
            part_of=entry.part_of,
        )

    def mark_part(self, entry: TrackAlarm) -> None:
        """Write into an incident which cause it is part of."""
        if entry.incident is not None:
            entry.incident = replace(entry.incident, part_of=entry.part_of)

    def hidden_by(self, entry: TrackAlarm) -> Event | None:
        """What hides this alarm by rule, if anything does."""
        if entry.place in self.removed:
            return Event.REMOVE
        in_standby = self.standby and not entry.rule.in_standby
        if entry.part_of is not None or in_standby or (self.on_break and self._rests(entry)):
            return Event.SUPPRESS
        return None

    def _rests(self, entry: TrackAlarm) -> bool:
        """Nobody minds it in a break: it is about packs and booms, not about the place."""
        kinds = {self.scene.tracks[place].kind for place in self._places_of(entry)}
        return entry.key[0] != INPUT and Kind.AMBIENCE not in kinds

    def settle(self, entry: TrackAlarm, now_s: float) -> list[AlarmEvent]:
        """Hide a standing alarm that a rule hides now; bring back what none hides any more."""
        hidden_by = self.hidden_by(entry)
        if hidden_by is None and entry.core.state is AlarmState.SUPPRESSED:
            return entry.release(EventKind.UNSUPPRESSED, None, now_s)
        if hidden_by is not None and entry.core.raised:
            return entry.hide(hidden_by, now_s)
        return []

    # ---- coverage ----------------------------------------------------------------------------

    def _spoiled_places(self) -> set[int]:
        spoiled = set(self.removed)
        for entry in self.entries:
            if entry.core.raised and entry.rule.spoils:
                spoiled.update(self._places_of(entry))
        return spoiled

    def _places_of(self, entry: TrackAlarm) -> Collection[int]:
        """The tracks an alarm speaks for."""
        if entry.key[0] == INPUT:
            return range(len(self.scene.tracks))
        if entry.place is not None:
            return (entry.place,)
        inputs = entry.incident.tracks if entry.incident is not None else ()
        return [place for place, t in enumerate(self.scene.tracks) if t.input in inputs]

    def _cover(self, place: int | None) -> int | None:
        if place is None or place == INPUT:
            return None
        return self._coverage.cover_of(place, self._spoiled)

    def refresh_cover(self) -> None:
        """Name the cover that each standing incident has now."""
        self._cover_may_differ = False
        self._spoiled = self._spoiled_places()
        for entry in self.entries:
            incident = entry.incident
            if incident is None or not entry.core.raised or not entry.rule.spoils:
                continue
            cover = self._cover(entry.place)
            places = self._places_of(entry)
            uncovered = any(self._coverage.is_uncovered(p, self._spoiled) for p in places)
            if (cover, uncovered) != (incident.covered_by, incident.uncovered):
                entry.incident = replace(incident, covered_by=cover, uncovered=uncovered)

    def covers(self) -> tuple[Cover, ...]:
        """How each `who` stands now."""
        return self._coverage.covers(self._spoiled)

    # ---- how it stands -----------------------------------------------------------------------

    @property
    def removed_inputs(self) -> tuple[int, ...]:
        """Input numbers of the tracks out of service."""
        return tuple(self.scene.tracks[place].input for place in sorted(self.removed))

    def alarms(self) -> tuple[Alarm, ...]:
        """Every alarm that stands or has still to be seen, most urgent first."""
        return tuple(sorted((e.alarm for e in self.entries if e.standing), key=urgency))

    def incidents(self) -> tuple[Incident, ...]:
        """Every incident so far, ended or not, by onset.

        One whose condition is gone has ended, though its off-delay may still run.
        """
        open_now = [
            replace(e.incident, end_s=e.core.until_s if e.core.clearing else None)
            for e in self.entries
            if e.core.raised and e.incident is not None
        ]
        return tuple(sorted([*self.history, *open_now], key=lambda i: (i.onset_s, i.id)))

    def severities(self) -> NDArray[np.uint8]:
        """The worst severity that stands on each track now, shape (tracks,); 0 where none."""
        worst = np.zeros(len(self.scene.tracks), dtype=np.uint8)
        for entry in self.entries:
            if entry.core.raised and not entry.is_cause:
                where = slice(None) if entry.place is None else entry.place
                worst[where] = np.maximum(worst[where], int(entry.core.severity))
        return worst
