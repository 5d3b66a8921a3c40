"""What each row of the board says, worked out from a snapshot. Pure; no Qt widgets."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from app.models import fault_words, round_words
from app.style import wording
from app.style.state_marks import Mark
from engine.alarms.alarm import UNHEARD
from engine.model import fault_remedies
from engine.model.batteries import Battery
from engine.model.messages import Alarm, AlarmState, Fault, Kind, Severity
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan, Track


@dataclass(frozen=True, slots=True)
class RowState:
    """State cell of one track: shape, word, note; `severity` None where nothing is wrong now.

    `unseen`: nobody has acknowledged it yet.
    """

    mark: Mark
    word: str
    note: str = ""
    severity: Severity | None = None
    unseen: bool = False


@dataclass(frozen=True, slots=True)
class Group:
    """Rows under one heading; `track_indices` are indices into the plan's tracks."""

    name: str
    track_indices: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class GroupState:
    """What stands under a group's heading."""

    covered_by: int | None = None
    uncovered: bool = False
    heard_on: int | None = None
    """Of one whom nothing covers: the track that heard them."""


STANDING = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.SUPPRESSED)


def tracks_of(alarm: Alarm) -> tuple[int, ...]:
    """The input numbers an alarm speaks of."""
    incident = alarm.incident
    return incident.tracks or (() if incident.track is None else (incident.track,))


def by_track(alarms: Iterable[Alarm]) -> dict[int, list[Alarm]]:
    """Every alarm under each track it speaks of, in the given order."""
    alarms_of: dict[int, list[Alarm]] = {}
    for alarm in alarms:
        for number in tracks_of(alarm):
            alarms_of.setdefault(number, []).append(alarm)
    return alarms_of


def folded(plan: Plan, alarms: Mapping[int, Sequence[Alarm]]) -> tuple[int, ...]:
    """Input numbers of unused tracks with nothing to say."""
    return tuple(t.input for t in plan.tracks if t.kind is Kind.UNUSED and t.input not in alarms)


def groups(plan: Plan, hidden: Sequence[int] = ()) -> tuple[Group, ...]:
    """Rows gathered by `who` (else by kind), each group where its first track stands."""
    by_name: dict[str, list[int]] = {}
    for track_index, track in enumerate(plan.tracks):
        if track.input not in hidden:
            by_name.setdefault(wording.group_name(track.who, track.kind), []).append(track_index)
    return tuple(Group(name, tuple(track_indices)) for name, track_indices in by_name.items())


def _worst(alarms: Sequence[Alarm]) -> Alarm:
    return max(alarms, key=lambda a: (a.incident.severity, -a.incident.onset_s))


def _fault_state(alarms: Sequence[Alarm], now_s: float) -> RowState:
    alarm = _worst(alarms)
    incident = alarm.incident
    mark = Mark.RED if incident.severity is Severity.RED else Mark.AMBER
    notes = [wording.lasted(now_s - incident.onset_s), wording.covered_by(incident.covered_by)]
    if alarm.state is AlarmState.ACKNOWLEDGED:
        notes.append("seen")
    if alarm.state is AlarmState.SUPPRESSED:
        notes.append("suppressed")
        if incident.part_of is None:
            return RowState(Mark.SUPPRESSED, fault_words.told(alarm), _join(notes))
    if alarm.unstable:
        notes.append("unstable")
    unseen = alarm.state is AlarmState.UNACKNOWLEDGED
    return RowState(mark, fault_words.told(alarm), _join(notes), incident.severity, unseen)


def _join(notes: Iterable[str]) -> str:
    return " · ".join(note for note in notes if note)


def _is_empty(alarm: Alarm) -> bool:
    """It says of inputs that nobody named that nothing came on them: no fault of a row."""
    return alarm.incident.fault is Fault.NOTHING_YET or alarm.incident.part_of == UNHEARD


def row_state(
    track: Track, alarms: Sequence[Alarm], present: bool, now_s: float, out: bool
) -> RowState:
    """State of one track, the most urgent thing first."""
    if out or any(a.state is AlarmState.OUT_OF_SERVICE for a in alarms):
        return RowState(Mark.OUT_OF_SERVICE, "out of service", "O puts it back")
    empty = [a for a in alarms if _is_empty(a)]
    alarms = [a for a in alarms if a not in empty]
    standing = [a for a in alarms if a.state in STANDING]
    if standing:
        return _fault_state(standing, now_s)
    shelved = [a for a in alarms if a.state is AlarmState.SHELVED]
    if shelved:
        alarm = _worst(shelved)
        left = "" if alarm.until_s is None else wording.lasted(alarm.until_s - now_s + 0.999)
        note = _join(("shelved", left))
        return RowState(Mark.SHELVED, fault_words.told(alarm), note)
    word, note = wording.healthy_word(track.kind, present)
    if any(a.state is not AlarmState.RETURNED for a in empty):
        word, note = fault_remedies.word(Fault.NOTHING_YET), ""
    returned = [a for a in alarms if a.state is AlarmState.RETURNED]
    if returned:
        alarm = _worst(returned)
        unnamed = fault_words.is_unnamed(alarm)
        was = fault_words.UNNAMED_BEFORE if unnamed else f"was {fault_words.told(alarm)}"
        return RowState(Mark.RETURNED, word, was)
    return RowState(Mark.OK, word, note)


def row_states(plan: Plan, snapshot: Snapshot) -> tuple[RowState, ...]:
    """State of every track, in the plan's order."""
    alarms = by_track(snapshot.alarms)
    batteries = {b.track: battery_words(b, snapshot.now_s) for b in snapshot.desk.batteries}
    made = []
    for track_index, track in enumerate(plan.tracks):
        state = row_state(
            track,
            alarms.get(track.input, ()),
            bool(snapshot.present[track_index]),
            snapshot.now_s,
            track.input in snapshot.out_of_service,
        )
        battery = batteries.get(track.input, "")
        if battery and state.severity is None:  # a fault's own note matters more
            state = replace(state, note=_join((state.note, battery)))
        listened = round_words.heard(snapshot.round.heard, track.input, snapshot.now_s)
        if listened and state.severity is None:
            state = replace(state, note=_join((state.note, listened)))
        ids = [a.incident.id for a in alarms.get(track.input, ())]
        attendance = snapshot.desk.attendance_of(*ids)
        if attendance is not None and state.severity is not None:
            state = replace(state, note=_join((state.note, attendance.words)))
        made.append(state)
    return tuple(made)


def battery_words(battery: Battery, now_s: float) -> str:
    """Time left of a battery; where nobody said how long it lasts, how long it has been in."""
    left_s = battery.left_s(now_s)
    if left_s is None:
        return f"in {wording.hours(battery.age_s(now_s))}"
    return f"{wording.hours(left_s)} left"


def group_states(plan: Plan, snapshot: Snapshot) -> dict[str, GroupState]:
    """By group name: which pack covers it, or that nothing does."""
    states: dict[str, GroupState] = {}
    if snapshot.desk.on_break:  # packs may well be off: nobody is to worry about cover
        return states
    in_fault = {
        number
        for alarm in snapshot.alarms
        if alarm.state in STANDING
        for number in tracks_of(alarm)
        if alarm.incident.covered_by is not None
    }
    heard_on = {pickup.who: pickup.track for pickup in snapshot.pickups}
    for cover in snapshot.covers:
        if cover.uncovered:
            states[cover.who] = GroupState(uncovered=True, heard_on=heard_on.get(cover.who))
        elif in_fault.intersection(cover.tracks):
            states[cover.who] = GroupState(covered_by=cover.use)
    return states
