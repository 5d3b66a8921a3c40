"""A watch in the terminal: one line a state change, a summary at the end."""

from __future__ import annotations

import argparse
import signal
import sys
import time
from collections.abc import Callable
from typing import Final

from app.cli import companions
from app.models.fix_cards import cause_name
from app.style import wording
from engine.model import faults
from engine.model.commands import Open, Stop, Watch
from engine.model.messages import AlarmEvent, EventKind, Incident, Severity, Snapshot
from engine.model.tracks import Plan
from engine.report.content.logged_timecode import labels_of
from engine.runtime.client import EngineClient
from engine.session.reader import SessionReader

POLL_S: Final = 0.05
_MARKS: Final = {Severity.AMBER: "▲ amber", Severity.RED: "■ RED  "}


def watch_in_terminal(request: Open, arguments: argparse.Namespace) -> bool:
    """Watch until the take ends or Ctrl+C; returns whether anything went red.

    Ctrl+C ends the watch, unless a window looks at it as well. OSError where it can't be opened.
    """
    client = EngineClient(request, "terminal")
    companions.start(arguments, client)
    watch = print_all(client)
    if watch is None:
        return False
    if client.goes_on:
        _say("the watch goes on without this terminal: `trackwarden watch` joins it again")
    with SessionReader(client.folder) as log:
        incidents, watched, lost = log.incidents(), log.watched_s(), log.lost_s()
    print(summary(incidents, watch.plan, watched, lost, labels_of(client.folder)))
    return any(incident.red_s is not None for incident in incidents)


def print_all(client: EngineClient) -> Watch | None:
    """Print what happens until the watch ends or Ctrl+C, and close it; None: it never began."""
    printer = _Printer(client)
    before = signal.signal(signal.SIGINT, lambda *_: printer.leave())
    try:
        printer.run()
    finally:
        client.close()
        signal.signal(signal.SIGINT, before)
    return printer.watch


class _Printer:
    """Prints what each snapshot says that the one before did not."""

    def __init__(self, client: EngineClient) -> None:
        self.watch: Watch | None = None
        self._client = client
        self._told = ""
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
            self._warn(client.stopped or ("" if watch else client.progress))
            snapshot = client.latest()
            if snapshot is not None:
                self._take_in(snapshot)
                self._left |= snapshot.ended
            time.sleep(POLL_S)

    def _begin(self, watch: Watch) -> None:
        self.watch = watch
        how = "joined the running watch of" if self._client.joined else "watching"
        print(f"{how} {watch.source}, {len(watch.plan.tracks)} tracks, {watch.rate}", flush=True)

    def _warn(self, words: str) -> None:
        if words and words != self._told:
            _say(words)
        self._told = words or self._told

    def _take_in(self, snapshot: Snapshot) -> None:
        """Print the state changes since the last one."""
        watch = self.watch
        assert watch is not None
        problem = snapshot.log.problem if snapshot.log is not None else ""
        self._warn(snapshot.notice or (f"the log can't be saved: {problem}" if problem else ""))
        for event in snapshot.events:
            print(f"{event.timecode}  {event_line(event, watch.plan)}", flush=True)


def _say(words: str) -> None:
    print(words, file=sys.stderr, flush=True)


def event_line(event: AlarmEvent, plan: Plan) -> str:
    """One state change in words: how urgent, who, which pack, what, what to check first."""
    incident = event.alarm.incident
    who = name_of(incident, plan)
    what = faults.word(incident.fault)
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
        return f"{cause_name(incident.tracks, known)}, tracks {wording.numbers(incident.tracks)}"
    track = plan.track(incident.track)
    where = [f"pack {track.pack}" if track.pack else "", track.placement]
    where = [part for part in where if part]
    return f"{track.input} {track.label}" + (f" ({', '.join(where)})" if where else "")


def _cover(incident: Incident) -> str:
    if incident.uncovered:
        return ", UNCOVERED"
    return f", {wording.covered_by(incident.covered_by)}" if incident.covered_by else ""


def _first(incident: Incident) -> str:
    return wording.sentence(faults.check_first(incident))


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
            f"{faults.word(incident.fault)} at {label(incident.onset_s)} "
            f"({incident.onset_s:.2f} s) {until}{_cover(incident)}{part}"
        )
    return "\n".join(lines)
