"""A scripted watch for the window: plans, snapshots and a client that hands them out. No engine."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from engine.model import crew_notes as desks
from engine.model.batteries import lasts_s
from engine.model.commands import (
    Acknowledge,
    AcknowledgeAll,
    Attend,
    Break,
    Command,
    FreshBattery,
    Mark,
    Note,
    Open,
    OutOfService,
    Shelve,
    Standby,
    Unacknowledge,
    Unshelve,
    Watch,
)
from engine.model.crew_notes import CrewNotes
from engine.model.frame_rates import FRAME_RATES, label_at
from engine.model.messages import Alarm, AlarmState, Fault, Incident, Kind, PackLevel, Severity
from engine.model.snapshot import RIBBON_COLUMNS, RIBBON_STEP_S, Cover, LevelStrip, Snapshot
from engine.model.tracks import Plan, Track

NOW_S = 6130.0
START_S = 69934.48


def tower_plan() -> Plan:
    """Fourteen tracks: two of the crew with two packs each, three with one, a boom, the tower."""
    main, safety = PackLevel
    return Plan(
        (
            Track(1, "Ringer", Kind.LAV, "Ringer", None, "1", "under the jacket", "A"),
            Track(2, "Signaller", Kind.LAV, "Signaller", None, "2", "collar", "A"),
            Track(3, "Rigger main", Kind.LAV, "Rigger", main, "3", "left shoulder", "A"),
            Track(4, "Rigger safety", Kind.LAV, "Rigger", safety, "4", "belt", "A"),
            Track(5, "Mason", Kind.LAV, "Mason", None, "5", "apron strap", "B"),
            Track(6, "Spare", Kind.UNUSED),
            Track(7, "Foreman main", Kind.LAV, "Foreman", main, "7", "chest", "B"),
            Track(8, "Foreman safety", Kind.LAV, "Foreman", safety, "8", "small of back", "B"),
            Track(9, "Boom scaffold", Kind.BOOM, placement="wireless", receiver="B"),
            Track(10, "Belfry", Kind.AMBIENCE, "Room", placement="wired · on the louvres"),
            Track(11, "Square left", Kind.AMBIENCE, "Room", placement="wired · lamp post"),
            Track(12, "Square right", Kind.AMBIENCE, "Room", placement="wired · town hall"),
            Track(13, "Crew radio", Kind.COMMS, "Room", placement="line from the radio"),
            Track(14, "Timecode", Kind.TIMECODE, placement="from the recorder"),
        ),
        "Raising the bell",
    )


def large_plan(count: int) -> Plan:
    """That many tracks: pairs of packs first, then booms, the last two ambience and talkback."""
    tracks = []
    for n in range(1, count + 1):
        if n > 1 and n >= count - 1:
            kind = Kind.AMBIENCE if n == count - 1 else Kind.COMMS
            tracks.append(Track(n, f"{kind.title()} tower", kind, "Room", placement="lamp post"))
        elif n > count * 3 // 4:
            tracks.append(Track(n, f"Boom {n}", Kind.BOOM, placement="wireless", receiver="C"))
        else:
            level = PackLevel.MAIN if n % 2 else PackLevel.SAFETY
            who = f"Hauler {(n + 1) // 2}"
            tracks.append(Track(n, f"{who} {level}", Kind.LAV, who, level, str(n), "chest", "A"))
    return Plan(tuple(tracks), "Raising the bell")


def watch(plan: Plan, live: bool = True) -> Watch:
    """What the client says it watches."""
    source = f"{len(plan.tracks)}-input interface" if live else "tower_night.wav"
    return Watch(plan, source, "48 kHz", live, START_S, None if live else 100.0)


def incident(
    number: int, track: int | None, fault: Fault, severity: Severity, ago_s: float, **more: object
) -> Incident:
    """An incident that began `ago_s` before `NOW_S`."""
    made = Incident(number, track, fault, severity, NOW_S - ago_s, amber_s=NOW_S - ago_s + 0.5)
    return replace(made, **more)  # type: ignore[arg-type]


def tower_alarms() -> tuple[Alarm, ...]:
    """One of the crew without backup, a boom already seen, a main that clips, one back again."""
    red, amber = Severity.RED, Severity.AMBER
    unseen, seen = AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED
    return (
        Alarm(incident(1, 7, Fault.SILENT, red, 24, uncovered=True), unseen),
        Alarm(incident(2, 8, Fault.SILENT, red, 24, uncovered=True), unseen),
        Alarm(incident(3, 9, Fault.MUTED, red, 70, detail="digital zero"), seen, NOW_S - 60),
        Alarm(
            incident(4, 3, Fault.CLIPPED, amber, 6, covered_by=4, detail="14 flat tops in 10 s"),
            unseen,
        ),
        Alarm(incident(5, 5, Fault.SILENT, amber, 100, end_s=NOW_S - 40), AlarmState.RETURNED),
    )


def many_alarms(plan: Plan) -> tuple[Alarm, ...]:
    """Faults here and there on a large plan: an uncovered pair, covered ones, shelved, back."""
    unseen = AlarmState.UNACKNOWLEDGED
    made: list[Alarm] = []
    for track in plan.tracks:
        n = len(made) + 1
        mate = track.input + (1 if track.level is PackLevel.MAIN else -1)
        if track.input in (3, 4):
            one = incident(n, track.input, Fault.MUTED, Severity.RED, 31, uncovered=True)
            made.append(Alarm(one, unseen))
        elif track.level is PackLevel.MAIN and track.input % 10 == 7:
            one = incident(n, track.input, Fault.SILENT, Severity.RED, 45, covered_by=mate)
            made.append(Alarm(one, unseen))
        elif track.level is PackLevel.SAFETY and track.input % 18 == 0:
            one = incident(n, track.input, Fault.CLIPPED, Severity.AMBER, 5, covered_by=mate)
            made.append(Alarm(one, AlarmState.ACKNOWLEDGED))
        elif track.kind is Kind.BOOM and track.input % 5 == 0:
            one = incident(n, track.input, Fault.SILENT, Severity.AMBER, 80)
            made.append(Alarm(one, AlarmState.SHELVED, until_s=NOW_S + 200))
        elif track.kind is Kind.BOOM and track.input % 5 == 1:
            one = incident(n, track.input, Fault.SILENT, Severity.AMBER, 80, end_s=NOW_S - 20)
            made.append(Alarm(one, AlarmState.RETURNED))
    return tuple(made)


def covers_of(plan: Plan, bad: Sequence[int] = ()) -> tuple[Cover, ...]:
    """How every `who` stands, given the tracks in fault."""
    found: dict[str, list[int]] = {}
    for track in plan.tracks:
        if track.who and track.level:
            found.setdefault(track.who, []).append(track.input)
    covers = []
    for who, tracks in found.items():
        healthy = tuple(n for n in tracks if n not in bad)
        covers.append(Cover(who, tuple(tracks), healthy, healthy[0] if healthy else None))
    return tuple(covers)


def ribbon(plan: Plan, alarms: Sequence[Alarm], now_s: float = NOW_S, seed: int = 7) -> LevelStrip:
    """Two minutes of talk over a room, coloured where an alarm stood."""
    count = len(plan.tracks)
    rng = np.random.default_rng(seed)
    level = -55 + 3 * rng.random((RIBBON_COLUMNS, count))
    for index, track in enumerate(plan.tracks):
        loud = -26.0 if track.level is PackLevel.SAFETY else -14.0
        column = int(rng.integers(0, 40))
        while column < RIBBON_COLUMNS and track.kind not in (Kind.COMMS, Kind.AMBIENCE):
            length = int(rng.integers(8, 60))
            part = level[column : column + length, index]
            part[:] = loud - 24 * rng.random(len(part)) ** 2
            column += length + int(rng.integers(15, 90))
        if track.kind is Kind.AMBIENCE:
            level[:, index] = -36 + 6 * rng.random(RIBBON_COLUMNS)
        if track.kind is Kind.COMMS:
            level[:, index] = -72
            level[80:96, index] = -30 - 12 * rng.random(16)
    severity = np.zeros((RIBBON_COLUMNS, count), dtype=np.uint8)
    index_of = {t.input: n for n, t in enumerate(plan.tracks)}
    for alarm in alarms:
        one = alarm.incident
        for number in one.tracks or (one.track,):
            column = RIBBON_COLUMNS - int((now_s - one.onset_s) / RIBBON_STEP_S)
            end = RIBBON_COLUMNS
            if one.end_s is not None:
                end -= int((now_s - one.end_s) / RIBBON_STEP_S)
            span = slice(max(0, column), end), index_of[number or 1]
            level[span] = -5.0 if one.fault is Fault.CLIPPED else -64.0
            severity[span] = Severity.AMBER
            if one.severity is Severity.RED:
                severity[max(0, column) + round(10 / RIBBON_STEP_S) : end, span[1]] = Severity.RED
    return LevelStrip(level.astype(np.float32), severity, now_s)


def snapshot(
    plan: Plan, alarms: Sequence[Alarm] = (), now_s: float = NOW_S, **more: object
) -> Snapshot:
    """A snapshot of that plan with those alarms."""
    count = len(plan.tracks)
    rng = np.random.default_rng(round(now_s * 20))
    lufs = rng.uniform(-46, -18, count)
    bad = {n for a in alarms for n in (a.incident.tracks or (a.incident.track,)) if n}
    dead = {
        a.incident.track
        for a in alarms
        if a.incident.fault in (Fault.MUTED, Fault.SILENT) and a.incident.end_s is None
    }
    present = np.ones(count, dtype=np.bool_)
    for index, track in enumerate(plan.tracks):
        if track.input in dead or track.kind in (Kind.COMMS, Kind.UNUSED):
            lufs[index], present[index] = -80.0, False
    standing = {n for a in alarms if a.incident.end_s is None for n in bad if n == a.incident.track}
    made = Snapshot(
        now_s=now_s,
        momentary_lufs=lufs,
        peak_dbfs=lufs + 9,
        peak_hold_dbfs=np.minimum(lufs + 13, -0.5),
        level_dbfs=lufs + 2,
        present=present,
        alarms=tuple(alarms),
        covers=covers_of(plan, tuple(standing)),
        ribbon=ribbon(plan, alarms, now_s),
        engine_load=0.04,
        floor_dbfs=np.full(count, -57.0),
        presence_dbfs=np.full(count, -66.0),
        timecode=label_at(19 * 3600 + now_s, FRAME_RATES[plan.frame_rate]),
        timecode_origin="ltc",
    )
    return replace(made, **more)  # type: ignore[arg-type]


class FakeClient:
    """Answers as the engine's client does: one snapshot a call, taken from a script."""

    def __init__(self, watching: Watch, script: Callable[[int], Snapshot | None]) -> None:
        self.watching: Watch | None = watching
        self.script = script
        self.calls = 0
        self.sent: list[Command] = []
        self.closed = False
        self.error = ""
        self.progress = ""
        self.stopped = ""
        self.folder: Path | None = None

    def watch(self) -> Watch | None:
        """What is watched; None while it is still opening."""
        if self.error:
            raise OSError(self.error)
        return self.watching

    def latest(self) -> Snapshot | None:
        """The next snapshot of the script."""
        if self.error:
            raise OSError(self.error)
        self.calls += 1
        return self.script(self.calls - 1)

    def send(self, command: Command) -> None:
        """Keep the command for the test to look at."""
        self.sent.append(command)

    def close(self) -> None:
        """Note that it was closed."""
        self.closed = True


class Crew:
    """A script that heeds commands: seen, shelved, out of service and standby show at once."""

    def __init__(self, plan: Plan, alarms: Sequence[Alarm]) -> None:
        self.plan, self.alarms = plan, tuple(alarms)
        self.standby = False
        self.desk = CrewNotes()
        self.out: tuple[int, ...] = ()
        self.client = FakeClient(watch(plan), self.next)

    def next(self, call: int) -> Snapshot:
        """The snapshot after all commands so far."""
        while self.client.sent:
            self._heed(self.client.sent.pop(0))
        now_s = NOW_S + call * 0.05
        return snapshot(
            self.plan,
            self.alarms,
            now_s,
            standby=self.standby,
            out_of_service=self.out,
            desk=self.desk,
        )

    def _heed(self, command: Command) -> None:
        seen = AlarmState.ACKNOWLEDGED
        match command:
            case Acknowledge(number):
                self._change(number, state=seen)
            case AcknowledgeAll():
                self.alarms = tuple(replace(a, state=seen) for a in self.alarms)
            case Shelve(number, seconds):
                until = None if seconds is None else NOW_S + seconds
                self._change(number, state=AlarmState.SHELVED, until_s=until)
            case OutOfService(track, on):
                self.out = tuple({*self.out, track} - (set() if on else {track}))
            case Standby(on):
                self.standby = on
            case Unacknowledge(number):
                self._change(number, state=AlarmState.UNACKNOWLEDGED)
            case Unshelve(number):
                self._change(number, state=AlarmState.UNACKNOWLEDGED, until_s=None)
            case Break(on):
                self.desk = desks.set_break(self.desk, on, NOW_S)
            case Mark(words, at_s):
                self.desk = desks.mark(self.desk, words, NOW_S if at_s is None else at_s)
            case Note(number, words):
                self.desk = desks.note(self.desk, number, words, NOW_S)
            case Attend(number, name, stage):
                self.desk = desks.attend(self.desk, number, name, stage, NOW_S)
            case FreshBattery(track, at_s, lasts):
                length_s = lasts_s(lasts or self.plan.track(track).battery)
                fresh_s = NOW_S if at_s is None else at_s
                self.desk = desks.fresh_battery(self.desk, track, fresh_s, length_s)
            case _:
                pass

    def _change(self, number: int, **more: object) -> None:
        self.alarms = tuple(
            replace(a, **more) if a.incident.id == number else a  # type: ignore[arg-type]
            for a in self.alarms
        )


def factory_of(client: FakeClient) -> Callable[[Open], FakeClient]:
    """A client factory that always gives this client."""
    return lambda _request: client
