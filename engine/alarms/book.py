"""All alarms of one watch: one per track and fault family, stepped tick by tick.

Conditions come in as arrays; only alarms with something going on are stepped one by one.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from engine.alarms import machine
from engine.alarms.entry import INPUT, KINDS, Entry, Key, urgency
from engine.alarms.machine import Change, Core, Name, Reading
from engine.alarms.states import HIDDEN, Event
from engine.coverage import Coverage
from engine.detectors.registry import Row, Scope
from engine.model import (
    Alarm,
    AlarmEvent,
    AlarmState,
    Condition,
    Cover,
    EventKind,
    Incident,
    Levels,
    Severity,
    State,
)
from engine.tracks import Scene

Detail = Callable[[Row, int], str]
"""What a row's detector saw on the track at that place, one line."""


class Book:
    """The alarms of one watch.

    scene : the tracks
    standby : the crew is not rolling
    removed : places of the tracks out of service
    history : every incident that has ended, oldest first
    """

    def __init__(self, scene: Scene, rows: Sequence[Row]) -> None:
        self.scene = scene
        self.standby = False
        self.removed: set[int] = set()
        self.history: list[Incident] = []
        self.entries_by_key: dict[Key, Entry] = {}
        self._rows = tuple(rows)
        self._families = _by_family(rows)
        self._delays = {id(row): _delays(row, scene) for row in rows}
        self._coverage = Coverage(scene.tracks)
        self._spoiled: set[int] = set()
        self._last_id = 0

    @property
    def entries(self) -> Collection[Entry]:
        """Every alarm the book has come to know."""
        return self.entries_by_key.values()

    def entry(self, key: Key) -> Entry | None:
        """The alarm under that key, if the book has come to know it."""
        return self.entries_by_key.get(key)

    def place_of(self, track: int) -> int | None:
        """The place of the track on that input."""
        inputs = [t.input for t in self.scene.tracks]
        return inputs.index(track) if track in inputs else None

    # ---- the watch goes on -------------------------------------------------------------------

    def step(
        self, conditions: Sequence[Condition], detail: Detail, start_s: float, now_s: float
    ) -> list[AlarmEvent]:
        """Take in one tick: a condition for each row, in row order; returns what happened."""
        events: list[AlarmEvent] = []
        standing = dict(zip((id(r) for r in self._rows), conditions, strict=True))
        for rows in self._families:
            for place in self._places(rows, standing):
                reading = self._reading(rows, standing, place)
                row = _row_for(rows, reading)
                text = detail(row, place) if reading.names else ""
                key = (place, row.group)
                events += self.advance(key, row, reading, text, start_s, now_s)
            self._spoiled = self._spoiled_places()
        self.refresh_cover()
        return events

    def _places(self, rows: tuple[Row, ...], standing: Mapping[int, Condition]) -> Iterable[int]:
        """Where this family has something going on."""
        if rows[0].scope is Scope.INPUT:
            return (INPUT,)
        active = standing[id(rows[0])].state == State.ACTIVE
        for row in rows[1:]:
            active = active | (standing[id(row)].state == State.ACTIVE)
        places = set(np.flatnonzero(active).tolist()) if active.any() else set()
        for entry in self.entries:
            if entry.place is not None and entry.key[1] == rows[0].group and not entry.core.idle:
                places.add(entry.place)
        return sorted(places)

    def _reading(
        self, rows: tuple[Row, ...], standing: Mapping[int, Condition], place: int
    ) -> Reading:
        at = max(place, 0)
        states = [State(int(standing[id(row)].state[at])) for row in rows]
        names = tuple(
            self._name(row, standing[id(row)], place)
            for row, state in zip(rows, states, strict=True)
            if state is State.ACTIVE
        )
        off_s = max(row.off_s for row in rows)
        if names:
            return Reading(State.ACTIVE, names, off_s)
        return Reading(State.UNKNOWN if State.UNKNOWN in states else State.CLEAR, off_s=off_s)

    def _name(self, row: Row, condition: Condition, place: int) -> Name:
        at = max(place, 0)
        amber_s, red_s = self._delays[id(row)]
        onset_s = float(condition.onset_s[at])
        covered = row.red_if_uncovered and self._cover(place) is not None
        return Name(
            fault=row.fault,
            onset_s=onset_s,
            last_s=float(condition.last_s[at]),
            amber_due_s=onset_s + float(amber_s[at]),
            red_due_s=onset_s + float(red_s[at]),
            may_be_red=bool(condition.may_be_red[at]) and not covered,
        )

    def advance(
        self,
        key: Key,
        row: Row,
        reading: Reading,
        detail: str,
        start_s: float,
        now_s: float,
        tracks: tuple[int, ...] = (),
    ) -> list[AlarmEvent]:
        """Step one alarm; `tracks` lists the inputs that a cause speaks for."""
        entry = self.entries_by_key.setdefault(key, Entry(key, row))
        before = entry.core
        entry.core, changes = machine.step(before, reading, start_s, now_s)
        if entry.core.fault is not None:
            entry.row = row
        events: list[AlarmEvent] = []
        if before.raised and entry.core.raised and before.fault is not entry.core.fault:
            assert entry.incident is not None
            entry.incident = replace(entry.incident, fault=row.fault, detail=detail)
            events.append(AlarmEvent(EventKind.RENAMED, now_s, entry.alarm))
        return events + [self._record(entry, before, c, detail, tracks) for c in changes]

    def _record(
        self, entry: Entry, before: Core, change: Change, detail: str, tracks: tuple[int, ...]
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
        if hidden_by is not None and core.state not in HIDDEN:
            entry.core = machine.hide(core, hidden_by)
        alarm = entry.alarm
        audible = alarm.state is AlarmState.UNACKNOWLEDGED and not alarm.unstable
        return AlarmEvent(KINDS[change.event], change.at_s, alarm, audible)

    def _opened(self, entry: Entry, tracks: tuple[int, ...]) -> Incident:
        core = entry.core
        assert core.fault is not None
        self._last_id += 1
        if entry.key[0] == INPUT:
            tracks = tuple(track.input for track in self.scene.tracks)
        return Incident(
            id=self._last_id,
            track=None if entry.place is None else self.scene.tracks[entry.place].input,
            fault=core.fault,
            severity=Severity.AMBER,
            onset_s=core.since_s,
            amber_s=core.amber_s,
            tracks=tracks,
            part_of=entry.part_of,
        )

    def mark_part(self, entry: Entry) -> None:
        """Write into an incident which cause it is part of."""
        if entry.incident is not None:
            entry.incident = replace(entry.incident, part_of=entry.part_of)

    def hidden_by(self, entry: Entry) -> Event | None:
        """What hides this alarm by rule, if anything does."""
        if entry.place in self.removed:
            return Event.REMOVE
        if entry.part_of is not None or (self.standby and not entry.row.in_standby):
            return Event.SUPPRESS
        return None

    # ---- coverage ----------------------------------------------------------------------------

    def _spoiled_places(self) -> set[int]:
        spoiled = {
            entry.place
            for entry in self.entries
            if entry.place is not None and entry.core.raised and entry.row.spoils
        }
        return spoiled | self.removed

    def _cover(self, place: int) -> int | None:
        return None if place == INPUT else self._coverage.cover_of(place, self._spoiled)

    def refresh_cover(self) -> None:
        """Name the cover that each standing incident has now."""
        self._spoiled = self._spoiled_places()
        for entry in self.entries:
            incident, place = entry.incident, entry.place
            if incident is None or place is None or not entry.core.raised or not entry.row.spoils:
                continue
            cover = self._cover(place)
            uncovered = self._coverage.is_uncovered(place, self._spoiled)
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
        """Every incident so far, ended or not, by onset."""
        open_now = [e.incident for e in self.entries if e.core.raised and e.incident is not None]
        return tuple(sorted([*self.history, *open_now], key=lambda i: (i.onset_s, i.id)))

    def severities(self) -> NDArray[np.uint8]:
        """The worst severity that stands on each track now, shape (tracks,); 0 where none."""
        worst = np.zeros(len(self.scene.tracks), dtype=np.uint8)
        for entry in self.entries:
            if entry.core.raised and not entry.is_cause:
                where = slice(None) if entry.place is None else entry.place
                worst[where] = np.maximum(worst[where], int(entry.core.severity))
        return worst


def _by_family(rows: Sequence[Row]) -> tuple[tuple[Row, ...], ...]:
    """Rows of one family together, best name first; those that need to know the cover last."""
    families: dict[tuple[str, Scope], list[Row]] = {}
    for row in rows:
        families.setdefault((row.group, row.scope), []).append(row)
    ranked = [tuple(sorted(family, key=lambda r: -r.rank)) for family in families.values()]
    return tuple(sorted(ranked, key=lambda family: family[0].red_if_uncovered))


def _row_for(rows: tuple[Row, ...], reading: Reading) -> Row:
    if not reading.names:
        return rows[0]
    return next(row for row in rows if row.fault is reading.names[0].fault)


def _delays(row: Row, scene: Scene) -> tuple[Levels, Levels]:
    """On-delays (amber, red) of that row for every track, s."""
    amber, red = (
        scene.numbers(delay) if isinstance(delay, str) else np.full(len(scene.tracks), delay)
        for delay in (row.amber_s, row.red_s)
    )
    return amber, red
