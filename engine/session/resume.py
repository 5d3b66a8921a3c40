"""What a session's log says for another engine to go on from where the last one broke off."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from engine.model import dataclass_json
from engine.model.commands import Open
from engine.model.round_state import Heard
from engine.session import engines, folders
from engine.session.backlog import Spool
from engine.session.checkpoint import Checkpoint
from engine.session.reader import SessionReader
from engine.session.schema import NotALogError
from engine.session.writer import SessionWriter
from engine.sources.base import HOST_API, SERVER_SOURCE, SourceError, SourceInfo

GO_ON_S: Final = 12 * 3600.0
"""A watch whose last line is older than this was of another night. Ours."""

_SPOOL: Final = "unwritten"
_SESSIONS_LOOKED_AT: Final = 20


@dataclass(frozen=True, slots=True)
class Resumed:
    """What is known of an interrupted watch.

    request, info : what was watched, and the source as it was
    start_s : time of day (or position in the take's timecode) of stream time 0
    checkpoint : how the watch stood
    listened : what a person listened to in rounds, oldest first; what waits unwritten is left out
    """

    request: Open
    info: SourceInfo
    start_s: float
    checkpoint: Checkpoint
    listened: tuple[Heard, ...] = ()


@dataclass(frozen=True, slots=True)
class _Begun:
    """What the first line of a session says that a restart needs."""

    request: Open
    source: str
    live: bool
    sample_rate_hz: int
    channels: int
    host_api: str
    start_s: float


class NotBegunError(SourceError):
    """The session's engine ended before its watch began: there is nothing to go on with."""


def spool_of(folder: Path) -> Spool:
    """Lines of that session which could not be written to its log."""
    return Spool(engines.runtime_of(folder) / _SPOOL)


def resume(folder: Path) -> Resumed:
    """Read it from the session in that folder, and from what its log could not take in.

    Raises
    ------
    NotBegunError
        Where the session had not begun; one line.
    SourceError
        Where its log can't be read; one line.
    """
    start, checkpoint = _unwritten(folder)
    if start is None or checkpoint is None:
        if not (folder / folders.LOG).exists():
            raise NotBegunError(f"{folder.name}: broke off before it began: start a new watch")
        try:
            with SessionReader(folder) as log:
                start = start or _logged(log)
                checkpoint = checkpoint or log.checkpoint()
        except (NotALogError, ValueError) as error:
            raise SourceError(str(error)) from error
    if start is None or checkpoint is None:
        raise NotBegunError(f"{folder.name}: broke off before it began: start a new watch")
    plan = folders.own_plan(folder)  # it may have been changed since
    request = start.request if plan is None else replace(start.request, plan=str(plan))
    info = SourceInfo(
        start.source,
        start.sample_rate_hz,
        start.channels,
        ("",) * start.channels,
        fields={HOST_API: start.host_api, SERVER_SOURCE: checkpoint.server_source},
        live=start.live,
    )
    return Resumed(request, info, start.start_s, checkpoint, _listened(folder))


def _listened(folder: Path) -> tuple[Heard, ...]:
    """The log may be what can't be read; a restart needs none of this."""
    with suppress(NotALogError, ValueError), SessionReader(folder) as log:
        return log.listened()
    return ()


def _logged(log: SessionReader) -> _Begun | None:
    session = log.session()
    if session is None:
        return None
    return _Begun(
        session.request,
        session.source,
        session.live,
        session.sample_rate_hz,
        session.channels,
        session.host_api,
        session.start_s,
    )


def _unwritten(folder: Path) -> tuple[_Begun | None, Checkpoint | None]:
    """What waits beside the log, where it could not be written."""
    start, checkpoint = None, None
    for line in spool_of(folder).lines():
        try:
            if line.kind == "session":
                _, _, source, live, rate_hz, channels, host_api, _, start_s, _, request, _ = (
                    line.values
                )
                asked = dataclass_json.loads(Open, request)
                start = _Begun(asked, source, live, rate_hz, channels, host_api, start_s)
            elif line.kind == "kept":
                checkpoint = dataclass_json.loads(Checkpoint, line.values[0])
        except (ValueError, TypeError):  # of another version, or damaged
            continue
    return start, checkpoint


def broken_off(request: Open, now_s: float | None = None) -> Path | None:
    """The newest live session of exactly that request that nobody ended.

    None where its last line is older than `GO_ON_S` (by the wall clock, s since 1970), or where an
    engine runs it.
    """
    now_s = time.time() if now_s is None else now_s
    for folder, last_s in _unended(request):
        if engines.is_locked(folder):
            return None
        return folder if now_s - last_s < GO_ON_S else None
    return None


def _unended(request: Open) -> Iterator[tuple[Path, float]]:
    """Live sessions of that request which nobody ended, each with its last line's time, s."""
    for folder, engine in engines.unended(folders.sessions_folder()):
        if engine.live and engine.request == request:
            yield folder, _last_line_s(folder)
    for folder in folders.session_folders()[:_SESSIONS_LOOKED_AT]:
        with suppress(NotALogError, ValueError), SessionReader(folder) as log:
            session, runs = log.session(), log.runs()
            if session is None or not session.live or session.request != request:
                continue
            if runs and runs[-1].end_reason is not None:
                return  # the newest one was ended
            yield folder, log.last_utc_ms() / 1000.0


def _last_line_s(folder: Path) -> float:
    """When the session's last line was written; where its log can't be read, when it began."""
    times = [engines.began_s(folder)]
    with suppress(NotALogError, ValueError), SessionReader(folder) as log:
        times.append(log.last_utc_ms() / 1000.0)
    return max(times)


def write_left_over(own: Path) -> None:
    """Write what ended sessions could not, beside the session in the folder `own`, where it can."""
    for runtime in engines.runtime_of(own).parent.iterdir():
        folder = own.parent / runtime.name
        spooled = (runtime / _SPOOL).exists() or (runtime / f"{_SPOOL}.newest").exists()
        if spooled and folder != own and not engines.is_locked(folder):
            SessionWriter(folder / folders.LOG, spool=spool_of(folder)).close()
            with suppress(OSError):
                runtime.rmdir()
