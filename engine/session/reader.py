"""Reads a session log: the one place where its rows become data."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Sequence
from functools import cached_property
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

from engine.model import dataclass_json
from engine.model.commands import Open
from engine.model.drill_causes import Cause
from engine.model.drill_truth import Truth
from engine.model.line_results import Heard
from engine.model.messages import Fault, Incident, Kind, PackLevel, Severity
from engine.model.safe_text import harmless
from engine.model.tracks import Plan, Track
from engine.session import folders
from engine.session.checkpoint import Checkpoint
from engine.session.level_rows import ENVELOPE_STEPS, unpack_envelope, unpack_levels
from engine.session.loudness_totals import LoudnessTotals
from engine.session.plan_history import PlanHistory
from engine.session.records import (
    Action,
    Change,
    Gap,
    LineCheckRecord,
    MarkRecord,
    Run,
    SecondEnvelope,
    SecondLevels,
    SessionRecord,
    StretchRecord,
)
from engine.session.schema import STOPPED_BY, NotALogError, open_to_read

_TRACK: Final = "input, name, kind, who, level, pack, placement, receiver, battery"
_INCIDENT: Final = (
    "id, track, fault, severity, onset_s, amber_s, red_s, end_s, covered_by, uncovered, detail,"
    " tracks, part_of"
)
MOST_CHANNELS: Final = 65_535
"""As many as a WAV file can have (its field has 16 bits); more are damage."""

MOST_RATE_HZ: Final = 10_000_000

_LONGEST_REASON: Final = 200
_DAMAGE: Final = (
    sqlite3.Error,
    ValueError,
    TypeError,
    LookupError,
    ArithmeticError,
    AttributeError,
    MemoryError,
    RecursionError,
)
"""What a value that makes no sense can lead to, wherever it is read."""

_LABELLED: Final = ("change", "action", "mark", "gap")
"""Tables whose rows have a timecode label of their moment."""


class SessionReader:
    """One moment of the log of the session in that folder, even while it grows.

    with SessionReader(folder) as log:
        incidents = log.incidents()

    Raises
    ------
    NotALogError
        Anywhere in the block, where the log is torn, foreign or can't be read.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._path = folder / folders.LOG

    def __enter__(self) -> Self:
        try:
            self._log = open_to_read(self._path)
            self._log.execute("BEGIN")
        except (sqlite3.Error, OverflowError, ValueError) as error:
            raise self._unreadable(error) from error
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._log.close()
        if isinstance(error, _DAMAGE) and not isinstance(error, NotALogError):
            raise self._unreadable(error) from error

    def _unreadable(self, error: BaseException) -> NotALogError:
        why = " ".join(f"{error}".split())[:_LONGEST_REASON]
        line = f"{self._path}: torn, or can't be read ({why}); left alone"
        return NotALogError(harmless(line))

    def _rows(self, query: str, *values: object) -> list[tuple[Any, ...]]:
        return self._log.execute(query, values).fetchall()

    def _one(self, query: str, *values: object) -> Any:
        """The one value that the query gives."""
        return self._log.execute(query, values).fetchone()[0]

    @cached_property
    def _tables(self) -> frozenset[str]:
        """Older logs lack some."""
        return frozenset(row[0] for row in self._rows("SELECT name FROM sqlite_schema"))

    # ---- the session ---------------------------------------------------------------------------

    def session(self) -> SessionRecord | None:
        """What it was begun with; None where it broke off before it began."""
        rows = self._rows(
            "SELECT utc_ms, source, live, sample_rate_hz, channels, host_api, frame_rate, start_s,"
            " title, request, plan FROM session"
        )
        if not rows:
            return None
        *known, request, text = rows[0]
        utc_ms, source, live, rate_hz, channels, host_api, frame_rate, start_s, title = known
        if not (0 < channels <= MOST_CHANNELS and 0 < rate_hz <= MOST_RATE_HZ):
            raise NotALogError(f"{self._path}: {channels} channels at {rate_hz} Hz: left alone")
        return SessionRecord(
            utc_ms=utc_ms,
            source=source,
            live=bool(live),
            sample_rate_hz=rate_hz,
            channels=channels,
            host_api=host_api,
            frame_rate=frame_rate,
            start_s=start_s,
            title=title,
            request=dataclass_json.loads(Open, request),
            plan_text=text,
        )

    def tracks(self) -> tuple[Track, ...]:
        """Every track that was ever watched, as the plan last had it; in input order."""
        return tuple(
            _track(row) for row in self._rows(f"SELECT {_TRACK} FROM track ORDER BY place")
        )

    def plans(self) -> PlanHistory:
        """Every plan the watch went by; of older logs the last one alone.

        Of each: its tracks and title, nothing else.
        """
        if "plan_version" not in self._tables:
            return PlanHistory(((0.0, Plan(self.tracks())),))
        rows = self._rows("SELECT from_s, title FROM plan_version ORDER BY from_s")
        query = f"SELECT {_TRACK} FROM plan_track WHERE from_s = ? ORDER BY input"
        versions = tuple(
            (from_s, Plan(tuple(map(_track, self._rows(query, from_s))), title))
            for from_s, title in rows
        )
        return PlanHistory(versions or ((0.0, Plan(self.tracks())),))

    def notices(self) -> tuple[str, ...]:
        """What was said of the source as the watch began."""
        if "notice" not in self._tables:
            return ()
        return tuple(row[0] for row in self._rows("SELECT text FROM notice ORDER BY id"))

    def inputs(self) -> list[tuple[int, list[int]]]:
        """Which inputs were watched from which second on; empty where an older log has it not."""
        if "inputs" not in self._tables:
            return []
        rows = self._rows("SELECT from_second, inputs FROM inputs ORDER BY from_second")
        return [(second, json.loads(text)) for second, text in rows]

    def runs(self) -> tuple[Run, ...]:
        """The engines that ran, one after the other."""
        return tuple(
            Run(*row) for row in self._rows("SELECT at_s, end_s, end_reason FROM run ORDER BY id")
        )

    def watched_s(self) -> float:
        """Stream time up to which the session was watched, s."""
        runs = self.runs()
        if runs and runs[-1].end_s is not None:
            return float(runs[-1].end_s)
        return float(self._one("SELECT coalesce(max(second) + 1, 0) FROM level"))

    def last_utc_ms(self) -> int:
        """When its newest line was written, milliseconds since 1970."""
        return int(
            self._one(
                "SELECT max(utc_ms) FROM (SELECT max(utc_ms) AS utc_ms FROM level UNION ALL"
                " SELECT max(utc_ms) FROM run UNION ALL SELECT max(utc_ms) FROM change)"
            )
            or 0
        )

    def was_stopped(self) -> bool:
        """Somebody ended the watch before its take did."""
        runs = self.runs()
        return bool(runs) and (runs[-1].end_reason or "").startswith(STOPPED_BY)

    def checkpoint(self) -> Checkpoint | None:
        """What a restart needs; None where nothing was written yet.

        Raises
        ------
        ValueError
            Where another version of the program wrote it.
        """
        rows = self._rows("SELECT state FROM kept")
        return dataclass_json.loads(Checkpoint, rows[0][0]) if rows else None

    # ---- what happened -------------------------------------------------------------------------

    def incidents(self) -> tuple[Incident, ...]:
        """Every incident, by onset."""
        rows = self._rows(f"SELECT {_INCIDENT} FROM incident ORDER BY onset_s, id")
        return tuple(_incident(row) for row in rows)

    def reds(self) -> int:
        """How many incidents went red."""
        return int(self._one("SELECT count(*) FROM incident WHERE red_s IS NOT NULL"))

    def changes(self) -> tuple[Change, ...]:
        """Every change of an alarm, in order."""
        rows = self._rows("SELECT incident, kind, at_s, until_s FROM change ORDER BY at_s, id")
        return tuple(Change(*row) for row in rows)

    def actions(self, *commands: str) -> tuple[Action, ...]:
        """Those commands of the crew, in order."""
        marks = ", ".join("?" * len(commands))
        rows = self._rows(
            f"SELECT command, arguments, who, at_s FROM action WHERE command IN ({marks})"
            " ORDER BY at_s, id",
            *commands,
        )
        return tuple(Action(name, json.loads(text), *rest) for name, text, *rest in rows)

    def marks(self) -> tuple[MarkRecord, ...]:
        """Every mark, in order."""
        rows = self._rows("SELECT at_s, text, who FROM mark ORDER BY at_s, id")
        return tuple(MarkRecord(*row) for row in rows)

    def gaps(self, what: str) -> tuple[Gap, ...]:
        """Gaps in the "audio" or in the "log", in order."""
        rows = self._rows(
            "SELECT at_s, lost_s, lines, reason FROM gap WHERE what = ? ORDER BY at_s", what
        )
        return tuple(Gap(*row) for row in rows)

    def lost_s(self) -> float:
        """Audio lost in all, s."""
        return sum((gap.lost_s for gap in self.gaps("audio")), 0.0)

    def problems(self) -> tuple[tuple[float, str], ...]:
        """When the engine or its computer could not do something any more, s, and what."""
        if "problem" not in self._tables:
            return ()
        return tuple(self._rows("SELECT at_s, text FROM problem ORDER BY at_s, id"))

    def line_checks(self) -> tuple[LineCheckRecord, ...]:
        """What the line check found, in order."""
        if "line_check" not in self._tables:
            return ()
        rows = self._rows("SELECT track, verdict, note, heard, at_s FROM line_check ORDER BY id")
        return tuple(
            LineCheckRecord(track, verdict, note, dataclass_json.loads(Heard, text), at_s)
            for track, verdict, note, text, at_s in rows
        )

    def drill_faults(self) -> tuple[Truth, ...]:
        """The faults that were put in, by onset."""
        rows = self._rows(
            "SELECT number, cause, tracks, onset_s, end_s, strength, severity, remark"
            " FROM drill_fault ORDER BY onset_s, number"
        )
        return tuple(_truth(row) for row in rows)

    def labels(self) -> Iterator[tuple[float, str]]:
        """Moments and the timecode labels that they had."""
        for table in _LABELLED:
            yield from self._rows(f"SELECT at_s, timecode FROM {table}")

    # ---- what was measured ---------------------------------------------------------------------

    def seconds(self) -> int:
        """How many seconds the level history spans."""
        return int(self._one("SELECT coalesce(max(second), -1) + 1 FROM level"))

    def levels(self, first: Sequence[int]) -> Iterator[SecondLevels]:
        """Each second that can be read; `first` are the inputs where the log names none."""
        query = "SELECT second, levels FROM level ORDER BY second"
        for second, inputs, blob in self._by_inputs(query, first):
            if len(blob) == 6 * len(inputs):
                yield SecondLevels(second, inputs, unpack_levels(blob, len(inputs)))

    def envelope(self, first: Sequence[int]) -> Iterator[SecondEnvelope]:
        """Each second's envelope; `first` as above. None at all in older logs."""
        if "envelope" not in self._tables:
            return
        query = "SELECT second, levels FROM envelope ORDER BY second"
        for second, inputs, blob in self._by_inputs(query, first):
            if len(blob) == ENVELOPE_STEPS * len(inputs):
                yield SecondEnvelope(second, inputs, unpack_envelope(blob, len(inputs)))

    def _by_inputs(
        self, query: str, first: Sequence[int]
    ) -> Iterator[tuple[int, Sequence[int], bytes]]:
        """Rows of seconds, each with the inputs that were watched then."""
        watched: list[tuple[int, Sequence[int]]] = [*self.inputs()] or [(0, first)]
        n = 0
        for second, blob in self._log.execute(query):
            while n + 1 < len(watched) and watched[n + 1][0] <= second:
                n += 1
            if second >= 0:
                yield second, watched[n][1], blob

    def levels_until(self, before_s: float, from_s: float = 0.0) -> float | None:
        """Up to where there are levels in that time, s; None where there is none."""
        last = self._one(
            "SELECT max(second) + 1 FROM level WHERE second >= ? AND second < ?",
            int(from_s),
            before_s,
        )
        return None if last is None else float(last)

    def stretches(self) -> tuple[StretchRecord, ...]:
        """What each engine measured, by its start; none in older logs."""
        if "stretch" not in self._tables:
            return ()
        rows = self._rows("SELECT begin_s, end_s, figures, gates FROM stretch ORDER BY begin_s")
        return tuple(
            StretchRecord(begin_s, end_s, _totals(text), blob)
            for begin_s, end_s, text, blob in rows
        )


def _track(row: Sequence[Any]) -> Track:
    number, name, kind, who, level, *others = row
    return Track(number, name, Kind(kind), who, PackLevel(level) if level else None, *others)


def _incident(row: Sequence[Any]) -> Incident:
    number, track, fault, severity, onset_s, amber_s, red_s, end_s = row[:8]
    cover, uncovered, detail, tracks, part_of = row[8:]
    return Incident(
        id=number,
        track=track,
        fault=Fault(fault),
        severity=Severity[severity.upper()],
        onset_s=onset_s,
        amber_s=amber_s,
        red_s=red_s,
        end_s=end_s,
        covered_by=cover,
        uncovered=bool(uncovered),
        detail=detail,
        tracks=tuple(json.loads(tracks)),
        part_of=part_of,
    )


def _truth(row: Sequence[Any]) -> Truth:
    number, cause, tracks, onset_s, end_s, strength, severity, remark = row
    level = Severity[severity.upper()] if severity else None
    affected = tuple(json.loads(tracks))
    return Truth(number, Cause(cause), affected, onset_s, end_s, strength, level, remark)


def _totals(text: str) -> LoudnessTotals | None:
    try:
        return dataclass_json.loads(LoudnessTotals, text)
    except ValueError:
        return None
