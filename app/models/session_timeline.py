"""A session as a time line: levels of all tracks, incidents, marks, plans; read from its log. Pure.

Times are stream seconds; what they are called comes from the log's timecode labels or the clock.
"""

from __future__ import annotations

import re
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Incident, Severity
from engine.model.safe_text import harmless
from engine.model.tracks import Plan, Track
from engine.report.content.logged_timecode import LoggedTimecode
from engine.session.plan_history import PlanHistory
from engine.session.reader import SessionReader
from engine.session.records import MarkRecord, SessionRecord

DAY_S: Final = 86_400.0
UNKNOWN_DBFS: Final = -200.0
SHOWN: Final = 4
"""Problems of the watch itself that the page names."""
_TIME: Final = re.compile(r"(\d{1,2})[:.]?(\d{2})(?:[:.]?(\d{2}))?(?:[:;.]\d{2})?")


@dataclass(frozen=True, slots=True, eq=False)
class SessionTimeline:
    """All that the page of a session shows.

    peak_dbfs : (seconds, tracks) sample peak of each second; `UNKNOWN_DBFS` where unknown
    tracks : in the order of the columns
    incidents, marks : by onset
    problems : when the watch or its computer could not do something, s, and what
    """

    folder: Path
    record: SessionRecord
    tracks: tuple[Track, ...]
    peak_dbfs: NDArray[np.float32]
    incidents: tuple[Incident, ...]
    marks: tuple[MarkRecord, ...]
    plans: PlanHistory
    labels: LoggedTimecode
    watched_s: float
    problems: tuple[tuple[float, str], ...] = ()

    @property
    def length_s(self) -> float:
        """What there is to see, at least a second."""
        return max(self.watched_s, float(len(self.peak_dbfs)), 1.0)

    @property
    def take(self) -> Path | None:
        """The take it was of, where it still lies on the disk."""
        path = self.record.request.take
        return Path(path) if path and Path(path).exists() else None

    def clock(self, at_s: float) -> str:
        """Time of day on this computer's clock, where the watch was live; else its timecode."""
        if not self.record.live:
            return self.labels(at_s)[:8]
        return time.strftime("%H:%M:%S", time.localtime(self.record.utc_ms / 1000.0 + at_s))

    @property
    def problem_words(self) -> str:
        """What the watch could not do, the newest few with their times; empty where it could."""
        lines = [f"{self.clock(at_s)} {harmless(text)}" for at_s, text in self.problems[-SHOWN:]]
        more = len(self.problems) - len(lines)
        return " · ".join(([f"{more} before these"] if more else []) + lines)

    def moment(self, typed: str) -> float | None:
        """The stream time of a typed clock time or timecode; None where the session has it not."""
        match = _TIME.fullmatch(typed.strip())
        if match is None:
            return None
        hours, minutes, seconds = (int(part or 0) for part in match.groups())
        if hours > 23 or minutes > 59 or seconds > 59:
            return None
        wanted_s = hours * 3600.0 + minutes * 60.0 + seconds
        starts = [self._of_day(self.clock(0.0)), self._of_day(self.labels(0.0))]
        for start_s in starts:
            at_s = (wanted_s - start_s) % DAY_S
            if at_s <= self.length_s:
                return at_s
        return None

    @staticmethod
    def _of_day(label: str) -> float:
        hours, minutes, seconds = (int(part) for part in re.split(r"[:;.]", label)[:3])
        return hours * 3600.0 + minutes * 60.0 + seconds

    def plan_at(self, at_s: float) -> Plan:
        """The plan as it was then."""
        return self.plans.at(at_s)


def read_timeline(folder: Path) -> SessionTimeline | str:
    """The session in that folder; one line on why there is none to show.

    Raises
    ------
    NotALogError
        Where the log is torn or foreign.
    """
    with SessionReader(folder) as log:
        record = log.session()
        if record is None:
            return "This session broke off before it began."
        tracks = log.tracks()
        column = {track.input: n for n, track in enumerate(tracks)}
        peaks = np.full((log.seconds(), len(tracks)), UNKNOWN_DBFS, dtype=np.float32)
        order: tuple[Sequence[int], NDArray[np.intp]] | None = None
        for second in log.levels([track.input for track in tracks]):
            if order is None or order[0] is not second.inputs:
                columns = np.array([column.get(n, -1) for n in second.inputs], dtype=np.intp)
                order = second.inputs, columns
            known = order[1] >= 0
            peaks[second.second, order[1][known]] = second.levels[1][known]
        labels = LoggedTimecode(log.labels(), record.start_s, record.frame_rate, live=record.live)
        return SessionTimeline(
            folder=folder,
            record=record,
            tracks=tracks,
            peak_dbfs=np.nan_to_num(peaks, nan=UNKNOWN_DBFS),
            incidents=log.incidents(),
            marks=log.marks(),
            plans=log.plans(),
            labels=labels,
            watched_s=log.watched_s(),
            problems=log.problems(),
        )


def pooled(
    peak_dbfs: NDArray[np.float32], begin_s: float, end_s: float, width: int
) -> NDArray[np.float32]:
    """The loudest level in each of so many columns of that time, shape (width, tracks)."""
    edges = np.linspace(begin_s, end_s, width + 1)
    first = np.clip(edges[:-1].astype(int), 0, max(len(peak_dbfs) - 1, 0))
    after = np.maximum(np.clip(np.ceil(edges[1:]).astype(int), 0, len(peak_dbfs)), first + 1)
    made = np.full((width, peak_dbfs.shape[1]), UNKNOWN_DBFS, dtype=np.float32)
    if not len(peak_dbfs):
        return made
    low, high = int(first[0]), int(after[-1])
    part = peak_dbfs[low:high]
    made[:] = np.maximum.reduceat(part, first - low, axis=0)
    beyond = (edges[:-1] >= len(peak_dbfs)) | (edges[1:] <= 0.0)
    made[beyond] = UNKNOWN_DBFS
    return made


@dataclass(frozen=True, slots=True)
class Filter:
    """Which incidents are shown: of one performer, one fault, from a severity on."""

    who: str = ""
    fault: str = ""
    least: Severity = Severity.AMBER


def shown(timeline: SessionTimeline, wanted: Filter) -> tuple[Incident, ...]:
    """The incidents that the filter leaves, by onset."""
    inputs = {t.input for t in timeline.tracks if not wanted.who or _name(t) == wanted.who}
    return tuple(
        one
        for one in timeline.incidents
        if one.severity >= wanted.least
        and wanted.fault in ("", one.fault.value)
        and inputs.intersection(tracks_of(one))
    )


def tracks_of(incident: Incident) -> tuple[int, ...]:
    """The inputs it speaks of."""
    return incident.tracks or (() if incident.track is None else (incident.track,))


def performers(timeline: SessionTimeline) -> list[str]:
    """Everybody who wears a pack, or the track's name where nobody is named."""
    return list(dict.fromkeys(_name(track) for track in timeline.tracks))


def _name(track: Track) -> str:
    return track.who or track.label


def neighbour(incidents: Sequence[Incident], at_s: float, by: int) -> Incident | None:
    """The next incident after that time (by 1), or the last one before it (by -1)."""
    if by > 0:
        return next((one for one in incidents if one.onset_s > at_s + 0.01), None)
    return next((one for one in reversed(incidents) if one.onset_s < at_s - 0.01), None)
