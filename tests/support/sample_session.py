"""Session logs with known contents, written as the engine writes them."""

from __future__ import annotations

import json
import random
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path

import numpy as np

from engine.model import dataclass_json
from engine.model.commands import Command, Open
from engine.model.frame_rates import FRAME_RATES, label_at
from engine.model.line_results import Heard
from engine.model.messages import Fault, Incident, Kind, PackLevel, Severity
from engine.model.tracks import Plan, Track
from engine.session.backlog import LogLine
from engine.session.folders import LOG
from engine.session.loudness_totals import Gates, LoudnessTotals
from engine.session.schema import INSERTS, open_to_write
from engine.session.second_levels import pack_levels

ROLES = ("Foreman", "Rigger", "Signaller", "Mason", "Scaffold", "Signals")
Changed = tuple[str, float, float | None]
"""Kind, when, until when."""

START_S = 21 * 3600.0
UTC_MS = 1_770_000_000_000


def crew_plan(tracks: int = 16) -> Plan:
    """A main and a safety a role, then booms, the crowd and talkback."""
    made = []
    for number in range(1, tracks + 1):
        role = (number - 1) // 2
        if role < len(ROLES):
            level = PackLevel.MAIN if number % 2 else PackLevel.SAFETY
            name = f"{ROLES[role]} {level}"
            made.append(
                Track(number, name, who=ROLES[role], level=level, pack=str(number), receiver="A")
            )
        else:
            kind = Kind.BOOM if number < tracks - 1 else Kind.AMBIENCE
            made.append(Track(number, f"{kind.value.capitalize()} {number}", kind))
    return Plan(tuple(made), "Raising the bell", production="The new bell")


def many_incidents(plan: Plan, count: int, duration_s: float, seed: int = 1) -> list[Incident]:
    """So many faults on all tracks, of every length; some uncovered."""
    rng = random.Random(seed)
    faults = (Fault.MUTED, Fault.CLIPPED, Fault.DROPOUT, Fault.DEAD_MIC, Fault.HUM, Fault.LOW)
    found = []
    for number in range(1, count + 1):
        track = rng.choice(plan.tracks)
        onset_s = rng.uniform(10.0, duration_s - 10.0)
        end_s = min(onset_s + rng.expovariate(1 / 12.0) + 0.3, duration_s)
        red = rng.random() < 0.5
        found.append(
            Incident(
                id=number,
                track=track.input,
                fault=rng.choice(faults),
                severity=Severity.RED if red else Severity.AMBER,
                onset_s=onset_s,
                amber_s=onset_s + 0.5,
                red_s=onset_s + 2.0 if red else None,
                end_s=end_s,
                uncovered=rng.random() < 0.05,
                detail="as planted",
            )
        )
    return sorted(found, key=lambda i: i.onset_s)


class SessionWriter:
    """Writes one session's log into a folder; times are stream times."""

    def __init__(self, folder: Path, plan: Plan, *, live: bool = True, request: Open | None = None):
        folder.mkdir(parents=True, exist_ok=True)
        self._log = open_to_write(folder / LOG)
        self._plan = plan
        self._rate = FRAME_RATES[plan.frame_rate]
        text = f'[take]\ntitle = "{plan.title}"\nproduction = "{plan.production}"\n'
        request = request or Open(device=0)
        values = (UTC_MS, "0.1", "16 inputs", live, 48_000, len(plan.tracks), "", plan.frame_rate)
        self._put("session", *values, START_S, plan.title, dataclass_json.dumps(request), text)
        for place, t in enumerate(plan.tracks):
            known = (t.name, t.kind.value, t.who, t.level or "", t.pack)
            self._put("track", place, t.input, *known, t.placement, t.receiver, t.battery)
        self.plan(0.0, plan)

    def plan(self, from_s: float, plan: Plan) -> None:
        """Another plan holds from then on."""
        self._put("plan version", from_s, UTC_MS, self.stamp(from_s)[3], plan.title, "")
        for t in plan.tracks:
            known = (t.name, t.kind.value, t.who, t.level or "", t.pack)
            self._put("plan track", from_s, t.input, *known, t.placement, t.receiver, t.battery)

    @contextmanager
    def at_once(self) -> Iterator[None]:
        """All that is written inside in one go, which is faster."""
        self._log.execute("BEGIN")
        yield
        self._log.execute("COMMIT")

    def _put(self, kind: str, *values: object) -> None:
        self._log.execute(INSERTS[kind], values)

    def stamp(self, at_s: float) -> tuple[float, int, int, str]:
        """The columns of a moment."""
        frame = round(at_s * 48_000)
        return (at_s, frame, UTC_MS + round(1000 * at_s), label_at(START_S + at_s, self._rate))

    def run(self, at_s: float, end_s: float | None, reason: str | None = "stopped") -> None:
        """One engine, from start to end; None: it was killed."""
        self._put("run", UTC_MS, at_s, round(at_s * 48_000), 1)
        if end_s is not None:
            self._put("run end", UTC_MS, end_s, reason)

    def levels(self, seconds: int, level_dbfs: float = -30.0, seed: int = 1) -> None:
        """A level a second on every track, about that."""
        rng = np.random.default_rng(seed)
        tracks = len(self._plan.tracks)
        for second in range(seconds):
            peak = level_dbfs + 6.0 * rng.standard_normal(tracks)
            blob = pack_levels(peak - 3.0, peak, peak - 12.0)
            self._put("level", second, UTC_MS + 1000 * second, blob)

    def stretch(self, begin_s: float, end_s: float, figures: LoudnessTotals, gates: Gates) -> None:
        """What one engine measured."""
        self._put("stretch", begin_s, end_s, dataclass_json.dumps(figures), gates.pack())

    def inputs(self, second: int, inputs: Sequence[int]) -> None:
        """From that second on these are watched."""
        self._put("inputs", second, json.dumps(inputs))

    def level(self, second: int, peak_dbfs: Sequence[float]) -> None:
        """Those levels in that second."""
        peak = np.array(peak_dbfs)
        self._put("level", second, UTC_MS + 1000 * second, pack_levels(peak, peak, peak))

    def incident(self, i: Incident, changes: Sequence[Changed] = ()) -> None:
        """An incident and (kind, at, until) of what was done about it."""
        fault = (i.fault.value, i.severity.word, i.onset_s, i.amber_s, i.red_s, i.end_s)
        told = (i.covered_by, i.uncovered, i.detail, i.part_of)
        labels = (self.stamp(i.onset_s)[3], "" if i.end_s is None else self.stamp(i.end_s)[3])
        self._put("incident", i.id, i.track, json.dumps(i.tracks), *fault, *told, *labels)
        for kind, at_s, until_s in (("raised", i.amber_s or i.onset_s, None), *changes):
            state = (i.id, kind, "acknowledged", i.severity.word, i.fault.value)
            self._put("change", *state, *self.stamp(at_s), until_s)

    def action(self, command: Command, at_s: float, who: str = "assistant") -> None:
        """Somebody pressed something."""
        arguments = json.dumps(asdict(command))
        told = (type(command).__name__, arguments, who, "window", 1)
        self._put("action", *told, *self.stamp(at_s))

    def mark(self, text: str, at_s: float, who: str = "assistant") -> None:
        """A mark."""
        self._put("mark", text, who, "window", 1, *self.stamp(at_s))

    def line_check(self, track: int, verdict: str, note: str, heard: Heard, at_s: float) -> None:
        """What the line check found of one track."""
        self._put(
            "line check", track, verdict, note, dataclass_json.dumps(heard), *self.stamp(at_s)
        )

    def gap(self, what: str, at_s: float, lost_s: float, lines: int, reason: str) -> None:
        """Lost audio, or lost lines of the log."""
        self._put("gap", what, *self.stamp(at_s), lost_s, lines, reason)

    def problem(self, text: str, at_s: float) -> None:
        """The watch could not do something any more."""
        self._put("problem", text, *self.stamp(at_s))

    def lines(self, lines: Iterable[LogLine]) -> None:
        """Lines as the recorder makes them."""
        for line in lines:
            self._put(line.kind, *line.values)

    def close(self) -> None:
        """Let go of the file."""
        self._log.close()
