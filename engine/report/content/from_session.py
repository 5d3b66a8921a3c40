"""A section of a report from a session's log."""

from __future__ import annotations

import time
import tomllib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import numpy as np

from engine.model.commands import Open
from engine.model.messages import Levels
from engine.model.tracks import Plan, Track
from engine.pipeline.level_history import LevelHistory
from engine.plan.keys import check
from engine.report.content import beside_alarms, session_acts
from engine.report.content.coverage_history import CoverageHistory
from engine.report.content.excerpts import Opener, Progress, level_excerpts, read_excerpts
from engine.report.content.logged_figures import track_figures
from engine.report.content.logged_timecode import LoggedTimecode
from engine.report.content.report_data import Section
from engine.report.content.sections import entries, pictured, with_beside, with_excerpts
from engine.report.content.take_words import TIMECODE_FROM, take_fields
from engine.session import engines
from engine.session.reader import SessionReader
from engine.session.records import SessionRecord
from engine.session.schema import NotALogError
from engine.sources.base import SourceError
from engine.timecode.clock import Origin

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
    NotALogError
        Where its log is torn, foreign or can't be read.
    """
    with SessionReader(folder) as log:
        session = log.session()
        if session is None:
            raise NotALogError(f"{folder.name}: the session never began: nothing to report")
        return _logged(log, session)


def _logged(log: SessionReader, session: SessionRecord) -> Logged:
    request = session.request
    plan = _plan(log.tracks(), session)
    duration_s = log.watched_s()
    label = LoggedTimecode(log.labels(), session.start_s, session.frame_rate, live=session.live)
    incidents = log.incidents()
    plans = log.plans()
    coverage = CoverageHistory(plans, incidents, duration_s)
    levels = _levels(log, plan)
    watched = log.inputs()
    newest = watched[-1][1] if watched else [track.input for track in plan.tracks]
    figures, note = track_figures(log, plan, levels, duration_s, newest)
    aside = beside_alarms.read(log)
    section = Section(
        name=session.title or _name(session),
        plan=plan,
        sample_rate_hz=session.sample_rate_hz,
        duration_s=duration_s,
        frame_rate=session.frame_rate,
        timecode=label,
        timecode_from=label.origin(TIMECODE_FROM[_reference(session)]),
        entries=with_beside(
            entries(plans, incidents, coverage, session_acts.done(log, label)), aside
        ),
        beside=aside,
        tracks=figures,
        whos=coverage.whos(),
        history=_history(levels),
        fields=_fields(log.folder, session) | _drill(request),
        start_s=session.start_s,
        honest=session_acts.honest(log, label, duration_s, running=engines.is_locked(log.folder)),
        breaks=session_acts.breaks(log, duration_s),
        marks=session_acts.marks(log),
        line_check=session_acts.line_check(log, plan),
        batteries=session_acts.batteries(log),
        tracks_note=note,
        crew=True,
        timecode_origin=_origin(session, label),
        path=request.take or "",
        plans=plans,
    )
    return Logged(section, request, session.live, session.channels)


def _name(session: SessionRecord) -> str:
    """Source and date in words, where the mixer gave no title."""
    begun = time.gmtime(session.utc_ms / 1000)
    return f"{session.source}, {begun.tm_mday} {time.strftime('%B %Y', begun)}"


def _reference(session: SessionRecord) -> Origin:
    """What labels count from without a track of code; a take may have no time reference."""
    if session.live:
        return Origin.TIME_OF_DAY
    return Origin.START if session.start_s == session.request.start_s else Origin.FILE


def _origin(session: SessionRecord, label: LoggedTimecode) -> str | None:
    """The same as scripts have it, with code where it was followed."""
    reference = _reference(session)
    if label.followed:
        return Origin.LTC.value
    return None if reference is Origin.START else reference.value


def _drill(request: Open) -> dict[str, str]:
    """Nobody is to take a drill's faults for those of a night."""
    if request.seed is None:
        return {}
    return {"drill": f"{request.level}, seed {request.seed}: the faults were put in"}


def _fields(folder: Path, session: SessionRecord) -> dict[str, str]:
    begun = time.strftime("%Y-%m-%d %H:%M:%S UTC", time.gmtime(session.utc_ms / 1000))
    return {"session": folder.name, "source": session.source, "begun": begun}


def _plan(tracks: tuple[Track, ...], session: SessionRecord) -> Plan:
    """The plan as it was: its tracks from the log's own table, its heading from its text."""
    heading = {"title": session.title}
    try:
        written, _ = check(tomllib.loads(session.plan_text), {}, None)
        heading |= {name: getattr(written, name) for name in _HEADING}
    except (tomllib.TOMLDecodeError, RecursionError):
        pass  # a plan that was read once; without it only the heading is poorer
    return Plan(tracks, frame_rate=session.frame_rate, **heading)


def _levels(log: SessionReader, plan: Plan) -> Levels:
    """Momentary maximum, sample peak, RMS of each second: (3, seconds, tracks), NaN unknown."""
    levels = np.full((3, log.seconds(), len(plan.tracks)), np.nan)
    index = {track.input: n for n, track in enumerate(plan.tracks)}
    for row in log.levels([track.input for track in plan.tracks]):
        if set(row.inputs) <= set(index):
            levels[:, row.second, [index[number] for number in row.inputs]] = row.levels
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
    return replace(
        section,
        entries=with_excerpts(section.entries, excerpts),
        fields=dict(section.fields) | take_fields(source.info.fields),
    )
