"""A section of a report from a session's log."""

from __future__ import annotations

import sqlite3
import time
import tomllib
from bisect import bisect_right
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from engine.alarms.coverage_timeline import CoverageTimeline
from engine.model import dataclass_json
from engine.model.commands import Open
from engine.model.messages import Kind, Levels, PackLevel
from engine.model.tracks import Plan, Track
from engine.pipeline.level_history import LevelHistory
from engine.plan.check import check
from engine.report.content import session_acts
from engine.report.content.excerpts import Opener, Progress, level_excerpts, read_excerpts
from engine.report.content.logged_figures import track_figures
from engine.report.content.logged_timecode import LoggedTimecode
from engine.report.content.report_data import Section
from engine.report.content.sections import entries, pictured, with_excerpts
from engine.session import folders, reader
from engine.session.recorder import unpack_levels
from engine.session.schema import open_to_read
from engine.sources.base import SourceError

_HEADING: Final = ("title", "production", "date", "mixer", "location")


@dataclass(frozen=True, slots=True)
class Logged:
    """A section made of a log, and the request of its watch: a take's sound can be read again."""

    section: Section
    request: Open
    live: bool
    channels: int


def read_session(folder: Path) -> Logged:
    """The session in that folder, without excerpts: see `with_levels` and `with_take`.

    Raises
    ------
    NotALogError, sqlite3.Error
        Where its log is torn, foreign or can't be read.
    """
    with closing(open_to_read(folder / folders.LOG)) as log:
        return _read(log, folder)


def _read(log: sqlite3.Connection, folder: Path) -> Logged:
    log.execute("BEGIN")  # one moment of a log that may be growing
    row = log.execute(
        "SELECT source, live, sample_rate_hz, channels, frame_rate, start_s, title, request, plan,"
        " utc_ms FROM session"
    ).fetchone()
    if row is None:
        raise sqlite3.DataError(f"{folder.name}: the session never began: nothing to report")
    source, live, rate_hz, channels, frame_rate, start_s, title, request, text, utc_ms = row
    asked = dataclass_json.loads(Open, request)
    plan = _plan(log, title, frame_rate, text)
    duration_s = reader.watched_s(log)
    label = LoggedTimecode(log, start_s, frame_rate)
    incidents = reader.incidents(log)
    coverage = CoverageTimeline(plan.tracks, incidents, duration_s)
    watched = reader.inputs(log) or [(0, [track.input for track in plan.tracks])]
    levels = _levels(log, plan, watched)
    breaks = session_acts.breaks(log, duration_s)
    figures, note = track_figures(log, plan, levels, duration_s, watched[-1][1])
    section = Section(
        name=source,
        plan=plan,
        sample_rate_hz=rate_hz,
        duration_s=duration_s,
        frame_rate=frame_rate,
        timecode=label,
        timecode_from=label.origin("the time of day" if live else "the take"),
        entries=entries(plan, incidents, coverage, session_acts.done(log, label)),
        tracks=figures,
        whos=coverage.whos(),
        history=_history(levels),
        fields=_fields(folder, utc_ms) | _drill(asked),
        start_s=start_s,
        honest=session_acts.honest(log, label, duration_s, running=folders.is_locked(folder)),
        breaks=breaks,
        marks=session_acts.marks(log),
        line_check=session_acts.line_check(log, plan),
        batteries=session_acts.batteries(log),
        tracks_note=note,
        crew=True,
    )
    return Logged(section, asked, bool(live), channels)


def _drill(request: Open) -> dict[str, str]:
    """Nobody is to take a drill's faults for those of a night."""
    if request.seed is None:
        return {}
    return {"drill": f"{request.level}, seed {request.seed}: the faults were put in"}


def _fields(folder: Path, utc_ms: int) -> dict[str, str]:
    begun = time.strftime("%Y-%m-%d %H:%M:%S UTC", time.gmtime(utc_ms / 1000))
    return {"session": folder.name, "begun": begun}


def _plan(log: sqlite3.Connection, title: str, frame_rate: str, text: str) -> Plan:
    """The plan as it was: its tracks from the log's own table, its heading from its text."""
    rows = log.execute(
        "SELECT input, name, kind, who, level, pack, placement, receiver, battery FROM track"
        " ORDER BY place"
    )
    tracks = tuple(
        Track(row[0], row[1], Kind(row[2]), row[3], PackLevel(row[4]) if row[4] else None, *row[5:])
        for row in rows
    )
    heading = {"title": title}
    try:
        written, _ = check(tomllib.loads(text), {}, None)
        heading |= {name: getattr(written, name) for name in _HEADING}
    except (tomllib.TOMLDecodeError, RecursionError):
        pass  # a plan that was read once; without it only the heading is poorer
    return Plan(tracks, frame_rate=frame_rate, **heading)


def _levels(
    log: sqlite3.Connection, plan: Plan, watched: Sequence[tuple[int, Sequence[int]]]
) -> Levels:
    """Momentary maximum, sample peak, RMS of each second: (3, seconds, tracks), NaN unknown.

    `watched` says from which second on which inputs were.
    """
    last = log.execute("SELECT coalesce(max(second), -1) FROM level").fetchone()[0]
    levels = np.full((3, last + 1, len(plan.tracks)), np.nan)
    place = {track.input: n for n, track in enumerate(plan.tracks)}
    begins = [second for second, _ in watched]
    for second, blob in log.execute("SELECT second, levels FROM level"):
        now = watched[max(bisect_right(begins, second) - 1, 0)][1]
        if second >= 0 and len(blob) == 6 * len(now) and set(now) <= set(place):
            levels[:, second, [place[n] for n in now]] = unpack_levels(blob, len(now))
    return levels


def _history(levels: Levels) -> LevelHistory:
    momentary, peak, _ = levels.astype(np.float32)
    return LevelHistory(1.0, momentary, peak)


def with_levels(logged: Logged) -> Section:
    """The section with what the log has around each onset: a level a second, no waveform."""
    section = logged.section
    excerpts = level_excerpts(pictured(section.entries), section.plan, section.history)
    return replace(section, entries=with_excerpts(section.entries, excerpts))


def take_of(logged: Logged) -> Path | None:
    """The take that was watched, if it was one played once, and is still there."""
    request = logged.request
    if logged.live or request.loop or request.take is None:
        return None
    path = Path(request.take)
    return path if path.exists() else None


def with_take(logged: Logged, open_at: Opener, progress: Progress | None = None) -> Section:
    """The section with the sound around each onset from the take that was replayed.

    Raises
    ------
    SourceError
        Where the take can't be read, or is another one by now.
    """
    section = logged.section
    source = open_at(0.0)
    source.close()
    if (source.info.sample_rate_hz, source.info.channels) != (
        section.sample_rate_hz,
        logged.channels,
    ):
        raise SourceError(f"{source.info.name}: another take by now: its sound is left out")
    excerpts = read_excerpts(pictured(section.entries), open_at, logged.request.start_s, progress)
    return replace(section, entries=with_excerpts(section.entries, excerpts))
