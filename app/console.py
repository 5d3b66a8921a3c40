"""A watch in the terminal: one line a state change, a summary at the end."""

from __future__ import annotations

import signal
import sys
from typing import Final

from app import text
from app.models import faults
from engine.commands import Open, Stop
from engine.model import AlarmEvent, EventKind, Incident, Severity, Snapshot
from engine.opening import with_demo
from engine.runner import Runner
from engine.timecode.count import FRAME_RATES, label_at
from engine.tracks import Plan

_MARKS: Final = {Severity.AMBER: "▲ amber", Severity.RED: "■ RED  "}


def watch_in_terminal(request: Open) -> bool:
    """Watch until the take ends or Ctrl+C; returns whether anything went red."""
    request = with_demo(request, lambda line: print(line, file=sys.stderr))
    printer = _Printer()
    runner = Runner(request, printer.take_in)
    printer.begin(runner)
    before = signal.signal(signal.SIGINT, lambda *_: runner.commands.put(Stop()))
    try:
        runner.run()
    finally:
        signal.signal(signal.SIGINT, before)
    printer.take_in(runner.snapshot())
    incidents = runner.pipeline.incidents()
    print(summary(incidents, runner.plan, runner.pipeline.fed_s, runner.pipeline.audio_lost_s))
    return any(incident.red_s is not None for incident in incidents)


class _Printer:
    """Prints what each snapshot says that the one before did not."""

    def __init__(self) -> None:
        self._runner: Runner | None = None
        self._notice = ""

    def begin(self, runner: Runner) -> None:
        """Say what is watched."""
        self._runner = runner
        watch = runner.watch
        tracks = len(watch.plan.tracks)
        print(f"watching {watch.source}, {tracks} tracks, {watch.rate}", flush=True)

    def take_in(self, snapshot: Snapshot) -> None:
        """Print the state changes since the last one; end with the take."""
        runner = self._runner
        assert runner is not None
        if snapshot.notice and snapshot.notice != self._notice:
            print(snapshot.notice, file=sys.stderr, flush=True)
        self._notice = snapshot.notice
        rate = FRAME_RATES[runner.plan.frame_rate]
        for event in snapshot.events:
            at = label_at(runner.watch.start_s + event.at_s, rate)
            print(f"{at}  {event_line(event, runner.plan)}", flush=True)
        if snapshot.ended:
            runner.commands.put(Stop())


def event_line(event: AlarmEvent, plan: Plan) -> str:
    """One state change in words: how urgent, who, which pack, what, what to check first."""
    incident = event.alarm.incident
    who = name_of(incident, plan)
    what = faults.word(incident.fault)
    if event.kind in (EventKind.RAISED, EventKind.ESCALATED):
        mark = _MARKS[incident.severity]
        return f"{mark}  {who}: {what}{_cover(incident)}. {_first(incident)}"
    if event.kind is EventKind.CLEARED:
        length = text.lasted((incident.end_s or event.at_s) - incident.onset_s)
        return f"○ back   {who}: {what} ended, lasted {length}"
    return f"· {event.kind.value}  {who}: {what}"


def name_of(incident: Incident, plan: Plan) -> str:
    """Track, pack and place of an incident, or what it speaks for."""
    if incident.track is None:
        return "tracks " + text.numbers(incident.tracks)
    track = plan.track(incident.track)
    where = [f"pack {track.pack}" if track.pack else "", track.placement]
    where = [part for part in where if part]
    return f"{track.input} {track.label}" + (f" ({', '.join(where)})" if where else "")


def _cover(incident: Incident) -> str:
    if incident.uncovered:
        return ", UNCOVERED"
    return f", {text.covered_by(incident.covered_by)}" if incident.covered_by else ""


def _first(incident: Incident) -> str:
    return text.sentence(faults.check_first(incident))


def summary(incidents: tuple[Incident, ...], plan: Plan, watched_s: float, lost_s: float) -> str:
    """What the watch found, one line an incident, the worst first."""
    lines = [f"watched {text.watching(watched_s)}. {text.audio_lost(lost_s)}."]
    if not incidents:
        lines.append("nothing went wrong")
    for incident in sorted(incidents, key=lambda i: (-int(i.severity), i.onset_s)):
        end_s = watched_s if incident.end_s is None else incident.end_s
        until = (
            "to the end"
            if incident.end_s is None
            else f"for {text.lasted(end_s - incident.onset_s)}"
        )
        part = f", part of {incident.part_of}" if incident.part_of else ""
        lines.append(
            f"{incident.severity.word:>5}  {name_of(incident, plan)}: "
            f"{faults.word(incident.fault)} at {text.watching(incident.onset_s)} "
            f"{until}{_cover(incident)}{part}"
        )
    return "\n".join(lines)
