"""A watch in the terminal: one line a state change, a summary at the end."""

from __future__ import annotations

import argparse
import os
import signal
import sys
import time
from collections.abc import Callable, Sequence
from typing import Final

from app.alerts.notification_service import NotificationService, has_bus, message
from app.cli import companions, terminal, watch_json
from app.models.fix_cards import cards, cause_name
from app.style import wording
from engine.model import fault_remedies
from engine.model.commands import Open, Stop, Watch
from engine.model.messages import AlarmEvent, EventKind, Fault, Incident, Severity, Snapshot
from engine.model.tracks import Plan
from engine.report.content.logged_timecode import labels_of
from engine.runtime.client import EngineClient
from engine.session.folders import not_kept
from engine.session.reader import SessionReader

POLL_S: Final = 0.05
FROZEN_S: Final = 2.0
"""Without a snapshot for this long the engine is said not to answer; ours."""
MANY: Final = 4
"""From so many tracks on that change alike at one moment they are one line; ours."""
_NEWS: Final = (EventKind.RAISED, EventKind.ESCALATED)
_UNSAID: Final = (EventKind.SUPPRESSED, EventKind.UNSUPPRESSED)
_MARKS: Final = {Severity.AMBER: "▲ amber", Severity.RED: "■ RED  "}


def watch_in_terminal(request: Open, arguments: argparse.Namespace) -> bool:
    """Watch until the take ends or Ctrl+C; returns whether anything went red.

    Ctrl+C ends the watch, unless a window looks at it as well. OSError where it can't be opened.
    """
    client = EngineClient(request, "terminal")
    companions.start(arguments, client)
    as_json: bool = arguments.json_lines
    watch = print_all(client, as_json=as_json)
    if watch is None:
        return False
    if client.goes_on:
        _say("the watch goes on without this terminal: `trackwarden watch` joins it again")
    with SessionReader(client.folder) as log:
        incidents, watched, lost = log.incidents(), log.watched_s(), log.lost_s()
    label = labels_of(client.folder)
    if as_json:
        print(watch_json.end_line(incidents, watched, lost, label))
    else:
        print(summary(incidents, watch.plan, watched, lost, label))
    return any(incident.red_s is not None for incident in incidents)


def print_all(client: EngineClient, *, as_json: bool = False) -> Watch | None:
    """Print what happens until the watch ends or Ctrl+C, and close it; None: it never began."""
    printer = _Printer(client, as_json=as_json)
    before = signal.signal(signal.SIGINT, lambda *_: printer.leave())
    try:
        printer.run()
    finally:
        printer.close()
        client.close()
        signal.signal(signal.SIGINT, before)
    return printer.watch


class _Printer:
    """Prints what each snapshot says that the one before did not."""

    def __init__(self, client: EngineClient, *, as_json: bool) -> None:
        self._as_json = as_json
        self.watch: Watch | None = None
        self._client = client
        self._told = ""
        self._heard_at = time.monotonic()
        self._frozen = self._stopped = False
        self._stands_due = client.joined
        self._desktop = NotificationService(self._desktop_changed) if _has_desktop() else None
        self._left = False

    def leave(self) -> None:
        """Ctrl+C."""
        self._client.send(Stop(if_alone=True))
        self._left = True

    def run(self) -> None:
        """Print until the watch ends, or until told to leave."""
        client = self._client
        while not self._left:
            watch = client.watch()
            if watch is not None and self.watch is None:
                self._begin(watch)
            self._look_at_engine()
            if watch is None:
                self._warn(client.progress)
            snapshot = client.latest()
            if snapshot is not None:
                self._take_in(snapshot)
                self._left |= snapshot.ended
            elif watch is not None:
                self._look_for_life()
            time.sleep(POLL_S)

    def _begin(self, watch: Watch) -> None:
        self.watch = watch
        if unkept := not_kept():
            _say(f"nothing is kept: {unkept}")
        if self._as_json:
            print(watch_json.begin_line(watch), flush=True)
            return
        how = "joined the running watch of" if self._client.joined else "watching"
        print(f"{how} {watch.source}, {len(watch.plan.tracks)} tracks, {watch.rate}", flush=True)

    def _desktop_changed(self, works: bool, words: str) -> None:
        if not works:
            _say(f"no desktop alerts: {words}")

    def _alert(self, snapshot: Snapshot, watch: Watch) -> None:
        """Show the worst of what is new on the desktop as well."""
        raised = [e for e in snapshot.events if e.audible and e.kind in _NEWS]
        if self._desktop is None or not raised:
            return
        ids = {e.alarm.incident.id for e in raised}
        for card in cards(watch.plan, snapshot):
            if ids.intersection(card.incidents) and card.severity is not None:
                self._desktop.show(message(card))
                return

    def close(self) -> None:
        """Let go of the desktop."""
        if self._desktop is not None:
            self._desktop.close()

    def _look_at_engine(self) -> None:
        """Say each death of the engine, and have what stands said anew once another one runs."""
        stopped = self._client.stopped
        if stopped and not self._stopped:
            _say(stopped)
            self._stands_due = True
        self._stopped = bool(stopped)

    def _look_for_life(self) -> None:
        """Say once that an engine which lives does not answer."""
        silent_s = time.monotonic() - self._heard_at
        if silent_s > FROZEN_S and not self._frozen and not self._stopped:
            self._frozen = True
            _say(f"the engine has not answered for {silent_s:.0f} s: nothing is watched meanwhile")

    def _warn(self, words: str) -> None:
        if words and words != self._told:
            _say(words)
            if self._as_json and self.watch is not None:
                print(watch_json.notice_line(words), flush=True)
        self._told = words

    def _take_in(self, snapshot: Snapshot) -> None:
        """Print the state changes since the last one."""
        watch = self.watch
        assert watch is not None
        self._heard_at, silent_s = time.monotonic(), time.monotonic() - self._heard_at
        if self._frozen:
            self._frozen = False
            _say(f"the engine answers again, after {silent_s:.0f} s")
        if self._stands_due:
            self._stands_due = False
            for line in () if self._as_json else standing_lines(snapshot, watch.plan):
                print(line, flush=True)
        problem = snapshot.log.problem if snapshot.log is not None else ""
        self._warn(snapshot.notice or (f"the log can't be saved: {problem}" if problem else ""))
        if self._as_json:
            for event in snapshot.events:
                print(watch_json.event_line(event), flush=True)
        else:
            for line in event_lines(snapshot.events, watch.plan):
                print(line, flush=True)
        self._alert(snapshot, watch)


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


def _has_desktop() -> bool:
    """Somebody sits before a desktop: a session bus is named, and it speaks our protocol."""
    return has_bus() and bool(os.environ.get("DBUS_SESSION_BUS_ADDRESS"))


def event_lines(events: Sequence[AlarmEvent], plan: Plan) -> list[str]:
    """One line an alarm: what was gathered is said once, and so is one fault of many tracks."""
    shown = [e for e in events if e.alarm.incident.part_of is None and e.kind not in _UNSAID]
    alike: dict[tuple[EventKind, Fault, Severity], list[AlarmEvent]] = {}
    for event in shown:
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


def _say(words: str) -> None:
    print(words, file=sys.stderr, flush=True)


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
        known = {track.input: track for track in plan.tracks}
        if incident.fault is Fault.NOTHING_YET:
            return cause_name(incident, known)
        return f"{cause_name(incident, known)}, tracks {wording.numbers(incident.tracks)}"
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
    for incident in sorted(incidents, key=lambda i: (-int(i.severity), i.onset_s)):
        end_s = watched_s if incident.end_s is None else incident.end_s
        until = (
            "to the end"
            if incident.end_s is None
            else f"for {wording.lasted(end_s - incident.onset_s)}"
        )
        part = f", part of {incident.part_of}" if incident.part_of else ""
        lines.append(
            f"{incident.severity.word:>5}  {name_of(incident, plan)}: "
            f"{fault_remedies.word(incident.fault)} at {label(incident.onset_s)} "
            f"({incident.onset_s:.2f} s) {until}{_cover(incident)}{part}"
        )
    return "\n".join(lines)
