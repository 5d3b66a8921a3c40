"""What a session's log says for another engine to go on from where the last one broke off."""

from __future__ import annotations

from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from engine.model import dataclass_json
from engine.model.commands import Open
from engine.session import folders
from engine.session.checkpoint import Checkpoint
from engine.session.schema import NotALogError, open_to_read
from engine.sources.base import HOST_API, SourceError, SourceInfo


@dataclass(frozen=True, slots=True)
class Resumed:
    """What is known of an interrupted watch.

    request, info : what was watched, and the source as it was
    start_s : time of day (or place in the take's timecode) of stream time 0
    kept : what the last engine remembered
    """

    request: Open
    info: SourceInfo
    start_s: float
    kept: Checkpoint


def resume(folder: Path) -> Resumed:
    """Read it from the session in that folder.

    Raises
    ------
    SourceError
        Where the session had not begun, or its log can't be read; one line.
    """
    try:
        with closing(open_to_read(folder / folders.LOG)) as log:
            columns = "request, start_s, source, sample_rate_hz, channels, live, host_api"
            session = log.execute(f"SELECT {columns} FROM session").fetchone()
            kept = log.execute("SELECT state FROM kept").fetchone()
        if session is None or kept is None:
            raise SourceError(f"{folder.name}: broke off before it began: start a new watch")
        request = dataclass_json.loads(Open, session[0])
        if (folder / folders.PLAN).exists():  # it may have been changed since
            request = replace(request, plan=str(folder / folders.PLAN))
        _, start_s, source, rate_hz, channels, live, host_api = session
        fields = {HOST_API: host_api}
        names = ("",) * channels
        info = SourceInfo(source, rate_hz, channels, names, fields=fields, live=bool(live))
        return Resumed(request, info, start_s, dataclass_json.loads(Checkpoint, kept[0]))
    except (NotALogError, ValueError) as error:
        raise SourceError(str(error)) from error
