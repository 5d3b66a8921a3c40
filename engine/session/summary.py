"""One session in short, for lists."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from engine.model.commands import Open
from engine.session import engines
from engine.session.reader import SessionReader
from engine.session.schema import NotALogError


@dataclass(frozen=True, slots=True)
class SessionSummary:
    """One session in short. `state` is running, ended or broken off; `drill` its level and seed."""

    folder: Path
    utc_ms: int
    watched_s: float
    source: str
    title: str
    tracks: int
    reds: int
    state: str
    drill: str = ""


def summary(folder: Path) -> SessionSummary:
    """The session in that folder.

    Raises
    ------
    NotALogError
        Where its log is torn, foreign or can't be read.
    """
    with SessionReader(folder) as log:
        session = log.session()
        if session is None:
            raise NotALogError(f"{folder}: broke off before it began")
        runs = log.runs()
        ended = bool(runs) and runs[-1].end_reason is not None
        state = "ended" if ended else "broken off"
        if engines.is_locked(folder):
            state = "running"
        return SessionSummary(
            folder,
            session.utc_ms,
            log.watched_s(),
            session.source,
            session.title,
            len(log.tracks()),
            log.reds(),
            state,
            _drill(session.request),
        )


def _drill(request: Open) -> str:
    return "" if request.seed is None else f"{request.level}, seed {request.seed}"
