"""What a session heard, read from its log, as far as takes are held against it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from engine.model.messages import Incident
from engine.model.tracks import Track
from engine.report.content.logged_timecode import LoggedTimecode
from engine.session.reader import SessionReader
from engine.session.records import SessionRecord
from engine.sources.base import SourceError
from engine.verify.take_coverage import Span, rolling_spans
from engine.verify.traces import SessionTrace, session_trace


@dataclass(frozen=True, slots=True, eq=False)
class Session:
    """What a session heard, as far as takes are held against it."""

    name: str
    record: SessionRecord
    tracks: tuple[Track, ...]
    trace: SessionTrace
    incidents: tuple[Incident, ...]
    rolling: tuple[Span, ...]
    label: LoggedTimecode


def read_session(folder: Path) -> Session:
    """The session in that folder.

    Raises
    ------
    NotALogError
        Where its log is torn, foreign or can't be read.
    SourceError
        Where it never began.
    """
    with SessionReader(folder) as log:
        record = log.session()
        if record is None:
            raise SourceError(f"{folder.name}: the session never began: nothing to verify against")
        return Session(
            folder.name,
            record,
            log.tracks(),
            session_trace(log),
            log.incidents(),
            rolling_spans(log),
            LoggedTimecode(log.labels(), record.start_s, record.frame_rate, live=record.live),
        )
