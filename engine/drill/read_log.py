"""A drill as its session's log tells it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from engine.drill.score import Call, Score, Seen, score
from engine.model.drill_causes import Cause
from engine.model.messages import EventKind
from engine.model.tracks import Track
from engine.session.reader import SessionReader
from engine.session.schema import NotALogError


@dataclass(frozen=True, slots=True)
class Drill:
    """One drill: what was asked for, and its score.

    utc_ms : when it began
    stopped : the crew ended it before the take did; it was watched for `score.watched_s`
    """

    utc_ms: int
    source: str
    title: str
    seed: int
    level: str
    blind: bool
    tracks: tuple[Track, ...]
    score: Score
    stopped: bool = False


def drill_of(folder: Path) -> Drill:
    """The drill of the session in that folder, as far as it went.

    Raises
    ------
    NotALogError
        Where its log can't be read, or is of no drill.
    """
    with SessionReader(folder) as log:
        session = log.session()
        if session is None or session.request.seed is None:
            raise NotALogError(f"{folder.name}: this session was no drill")
        request, tracks = session.request, log.tracks()
        result = score(
            tracks,
            log.drill_faults(),
            log.incidents(),
            _seen(log, blind=request.blind),
            _calls(log),
            log.watched_s(),
            log.signs(),
        )
        return Drill(
            utc_ms=session.utc_ms,
            source=session.source,
            title=session.title,
            seed=session.request.seed,
            level=request.level,
            blind=request.blind,
            tracks=tracks,
            score=result,
            stopped=log.was_stopped(),
        )


def _seen(log: SessionReader, *, blind: bool) -> tuple[Seen, ...]:
    if blind:  # nobody sees an alarm that is not shown
        return ()
    seen = EventKind.SEEN.value
    return tuple(Seen(c.at_s, c.incident) for c in log.changes() if c.kind == seen)


def _calls(log: SessionReader) -> tuple[Call, ...]:
    calls = log.actions("CallCause")
    return tuple(Call(c.at_s, c.arguments["track"], Cause(c.arguments["cause"])) for c in calls)
