"""Reads a session log: what happened, what was measured."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from typing import Final

from engine.model import dataclass_json
from engine.model.drill_truth import Truth
from engine.model.early_signs import SignKind
from engine.model.line_results import Heard
from engine.model.messages import Incident
from engine.model.pickups import Pickup
from engine.model.round_state import Heard as Listened
from engine.model.tracks import Plan, Track
from engine.session.checkpoint import Checkpoint
from engine.session.log_file import LogFile
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
    SignRecord,
    StretchRecord,
)
from engine.session.rows import (
    INCIDENT_COLUMNS,
    TRACK_COLUMNS,
    incident_of,
    session_of,
    totals_of,
    track_of,
    truth_of,
)
from engine.session.schema import STOPPED_BY
from engine.session.second_levels import ENVELOPE_STEPS, unpack_envelope, unpack_levels

_LABELLED: Final = ("change", "action", "mark", "gap", "label")
"""Tables whose rows have a timecode label of their moment; of one moment the last one counts."""


class SessionReader(LogFile):
    """One moment of the log of the session in that folder, even while it grows.

    with SessionReader(folder) as log:
        incidents = log.incidents()

    Raises
    ------
    NotALogError
        Anywhere in the block, where the log is torn, foreign or can't be read.
    """

    # ---- the session ---------------------------------------------------------------------------

    def session(self) -> SessionRecord | None:
        """What it was begun with; None where it broke off before it began."""
        rows = self._rows(
            "SELECT utc_ms, source, live, sample_rate_hz, channels, host_api, frame_rate, start_s,"
            " title, request, plan FROM session"
        )
        if not rows:
            return None
        return session_of(rows[0], self._path)

    def tracks(self) -> tuple[Track, ...]:
        """Every track that was ever watched, as the plan last had it; in input order."""
        return tuple(
            track_of(row) for row in self._rows(f"SELECT {TRACK_COLUMNS} FROM track ORDER BY place")
        )

    def plans(self) -> PlanHistory:
        """Every plan the watch went by; of older logs the last one alone.

        Of each: its tracks and title, nothing else.
        """
        if "plan_version" not in self._tables:
            return PlanHistory(((0.0, Plan(self.tracks())),))
        rows = self._rows("SELECT from_s, title FROM plan_version ORDER BY from_s")
        query = f"SELECT {TRACK_COLUMNS} FROM plan_track WHERE from_s = ? ORDER BY input"
        versions = tuple(
            (from_s, Plan(tuple(map(track_of, self._rows(query, from_s))), title))
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
        rows = self._rows(f"SELECT {INCIDENT_COLUMNS} FROM incident ORDER BY onset_s, id")
        return tuple(incident_of(row) for row in rows)

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

    def signs(self) -> tuple[SignRecord, ...]:
        """Every early sign, by its beginning; none in older logs."""
        if "sign" not in self._tables:
            return ()
        rows = self._rows(
            "SELECT kind, tracks, since_s, told_s, until_s, normal, now FROM sign"
            " ORDER BY since_s, kind, tracks"
        )
        return tuple(
            SignRecord(SignKind(kind), tuple(json.loads(tracks)), *rest)
            for kind, tracks, *rest in rows
        )

    def pickups(self) -> tuple[Pickup, ...]:
        """Who was heard on which other track, by ten seconds; none in older logs."""
        if "pickup" not in self._tables:
            return ()
        rows = self._rows(
            "SELECT who, track, over_db, gain_db, delay_s, seconds, until_s FROM pickup"
            " ORDER BY until_s, who, track"
        )
        return tuple(Pickup(*row) for row in rows)

    def listened(self) -> tuple[Listened, ...]:
        """Which tracks a person listened to in rounds, in order; none in older logs."""
        if "listened" not in self._tables:
            return ()
        rows = self._rows(
            "SELECT track, from_s, until_s, sounds_right, word FROM listened ORDER BY from_s, id"
        )
        return tuple(
            Listened(track, from_s, until_s, None if right is None else bool(right), word)
            for track, from_s, until_s, right, word in rows
        )

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
        return tuple(truth_of(row) for row in rows)

    def labels(self) -> Iterator[tuple[float, str]]:
        """Moments and the timecode labels that they had."""
        for table in filter(self._tables.__contains__, _LABELLED):
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
            StretchRecord(begin_s, end_s, totals_of(text), blob)
            for begin_s, end_s, text, blob in rows
        )
