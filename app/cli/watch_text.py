"""What a watch says in the terminal: one line a state change, a summary at the end."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from typing import Final

from app.cli import terminal
from app.models.alarm_card import cause_name
from app.style import wording
from engine.alarms.alarm import UNHEARD
from engine.model import fault_remedies
from engine.model.messages import AlarmEvent, EventKind, Fault, Incident, Severity
from engine.model.snapshot import Snapshot
from engine.model.tracks import Plan

MANY: Final = 4
"""From so many tracks on that change alike at one moment they are one line; ours."""
_UNSAID: Final = (EventKind.SUPPRESSED, EventKind.UNSUPPRESSED)
_MARKS: Final = {Severity.AMBER: "▲ amber", Severity.RED: "■ RED  "}


def warnings(snapshot: Snapshot) -> Iterator[str]:
    """What is wrong with the watch itself and its computer."""
    if snapshot.notice:
        yield snapshot.notice
    yield from (f"this computer: {line}" for line in snapshot.computer)
    if snapshot.log is not None and snapshot.log.problem:
        yield f"the log can't be saved: {snapshot.log.problem}"


def standing_lines(snapshot: Snapshot, plan: Plan) -> list[str]:
    """What stands as somebody joins, the most urgent first: one line an alarm."""
    standing = [
        alarm.incident
        for alarm in snapshot.alarms
        if alarm.incident.end_s is None and alarm.incident.part_of is None
    ]
    events = [
        AlarmEvent(EventKind.RAISED, snapshot.now_s, alarm, timecode=snapshot.timecode)
        for alarm in snapshot.alarms
        if alarm.incident in standing
    ]
    lines = event_lines(events, plan)
    return [f"standing alarms: {len(standing)}", *lines] if standing else ["no alarm stands"]


def event_lines(events: Sequence[AlarmEvent], plan: Plan) -> list[str]:
    """One line an alarm: what was gathered is said once, and so is one fault of many tracks."""
    visible = [e for e in events if e.alarm.incident.part_of is None and e.kind not in _UNSAID]
    alike: dict[tuple[EventKind, Fault, Severity], list[AlarmEvent]] = {}
    for event in visible:
        incident = event.alarm.incident
        key = (event.kind, incident.fault, incident.severity)
        alike.setdefault(key, []).append(event)
    lines = []
    for (_, _, severity), same in alike.items():
        urgent = severity if same[0].kind in (EventKind.RAISED, EventKind.ESCALATED) else None
        if len(same) < MANY:
            words = [(e.timecode, event_line(e, plan)) for e in same]
        else:
            words = [(same[0].timecode, _many_line(same))]
        lines += [f"{code}  {terminal.paint(line, urgent, sys.stdout)}" for code, line in words]
    return lines


def _many_line(events: Sequence[AlarmEvent]) -> str:
    """Several tracks whose alarms changed alike at one moment."""
    first = events[0].alarm.incident
    tracks = wording.numbers([t for e in events for t in _tracks(e.alarm.incident)])
    what = f"tracks {tracks}: {fault_remedies.word(first.fault)}"
    if events[0].kind in (EventKind.RAISED, EventKind.ESCALATED):
        return f"{_MARKS[first.severity]}  {what}. {_first(first)}"
    if events[0].kind is EventKind.CLEARED:
        return f"○ back   {what} ended"
    return f"· {events[0].kind.value}  {what}"


def _tracks(incident: Incident) -> tuple[int, ...]:
    return incident.tracks or (() if incident.track is None else (incident.track,))


def event_line(event: AlarmEvent, plan: Plan) -> str:
    """One state change in words: how urgent, who, which pack, what, what to check first."""
    incident = event.alarm.incident
    who = name_of(incident, plan)
    what = fault_remedies.word(incident.fault)
    if event.kind in (EventKind.RAISED, EventKind.ESCALATED):
        mark = _MARKS[incident.severity]
        return f"{mark}  {who}: {what}{_cover(incident)}. {_first(incident)}"
    if event.kind is EventKind.CLEARED:
        length = wording.lasted((incident.end_s or event.at_s) - incident.onset_s)
        return f"○ back   {who}: {what} ended, lasted {length}"
    return f"· {event.kind.value}  {who}: {what}"


def name_of(incident: Incident, plan: Plan) -> str:
    """Track, pack and place of an incident, or what it speaks for."""
    if incident.track is None:
        track_of = {track.input: track for track in plan.tracks}
        if incident.fault is Fault.NOTHING_YET:
            return cause_name(incident, track_of)
        return f"{cause_name(incident, track_of)}, tracks {wording.numbers(incident.tracks)}"
    track = plan.track(incident.track)
    where = [f"pack {track.pack}" if track.pack else "", track.placement]
    where = [part for part in where if part]
    return f"{track.input} {track.label}" + (f" ({', '.join(where)})" if where else "")


def _cover(incident: Incident) -> str:
    if incident.uncovered:
        return ", NO BACKUP"
    return f", {wording.covered_by(incident.covered_by)}" if incident.covered_by else ""


def _first(incident: Incident) -> str:
    return wording.sentence(fault_remedies.check_first(incident))


def summary(
    incidents: tuple[Incident, ...],
    plan: Plan,
    watched_s: float,
    lost_s: float,
    label: Callable[[float], str],
) -> str:
    """What the watch found, one line an incident, the worst first.

    `label` is the timecode of a stream time.
    """
    lines = [f"watched {wording.watching(watched_s)}. {wording.audio_lost(lost_s)}."]
    if not incidents:
        lines.append("nothing went wrong")
    shown = [one for one in incidents if one.part_of != UNHEARD]  # the one line says it
    for incident in sorted(shown, key=lambda i: (-int(i.severity), i.onset_s)):
        end_s = watched_s if incident.end_s is None else incident.end_s
        until = (
            "to the end"
            if incident.end_s is None
            else f"for {wording.lasted(end_s - incident.onset_s)}"
        )
        part = f", part of {incident.part_of}" if incident.part_of else ""
        word = incident.severity.word
        urgent = terminal.paint(word, incident.severity, sys.stdout)
        lines.append(
            f"{' ' * (5 - len(word))}{urgent}  {name_of(incident, plan)}: "
            f"{fault_remedies.word(incident.fault)} at {label(incident.onset_s)} "
            f"({incident.onset_s:.2f} s) {until}{_cover(incident)}{part}"
        )
    return "\n".join(lines)
