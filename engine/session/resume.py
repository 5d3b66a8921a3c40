"""What a session's log says for another engine to go on from where the last one broke off."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from engine.model.commands import Open
from engine.session import folders
from engine.session.checkpoint import Checkpoint
from engine.session.reader import SessionReader
from engine.session.schema import NotALogError
from engine.sources.base import HOST_API, SourceError, SourceInfo


@dataclass(frozen=True, slots=True)
class Resumed:
    """What is known of an interrupted watch.

    request, info : what was watched, and the source as it was
    start_s : time of day (or position in the take's timecode) of stream time 0
    checkpoint : how the watch stood
    """

    request: Open
    info: SourceInfo
    start_s: float
    checkpoint: Checkpoint


def resume(folder: Path) -> Resumed:
    """Read it from the session in that folder.

    Raises
    ------
    SourceError
        Where the session had not begun, or its log can't be read; one line.
    """
    try:
        with SessionReader(folder) as log:
            session, checkpoint = log.session(), log.checkpoint()
        if session is None or checkpoint is None:
            raise SourceError(f"{folder.name}: broke off before it began: start a new watch")
        request = session.request
        if (folder / folders.PLAN).exists():  # it may have been changed since
            request = replace(request, plan=str(folder / folders.PLAN))
        info = SourceInfo(
            session.source,
            session.sample_rate_hz,
            session.channels,
            ("",) * session.channels,
            fields={HOST_API: session.host_api},
            live=session.live,
        )
        return Resumed(request, info, session.start_s, checkpoint)
    except (NotALogError, ValueError) as error:
        raise SourceError(str(error)) from error
