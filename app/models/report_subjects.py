"""What a report can be of: sessions that were watched, and takes."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from app.style import wording
from engine.session.folders import LOG, sessions_folder
from engine.session.schema import NotALogError
from engine.session.summary import SessionSummary, summary

MOST_SESSIONS: Final = 30
DEMO: Final = "demo"


@dataclass(frozen=True, slots=True)
class Subject:
    """A session (its folder) or a take (its path, or "demo").

    `name` is for a folder, `words` for people.
    """

    name: str
    words: str
    session: Path | None = None
    take: str | None = None


def of_session(one: SessionSummary) -> Subject:
    """That session, told by when it began (this computer's time zone), what and how long."""
    began = time.strftime("%Y-%m-%d %H:%M", time.localtime(one.utc_ms / 1000.0))
    what = f"DRILL {one.title or one.source}" if one.drill else one.title or one.source
    parts = [began, what, wording.watching(one.watched_s), f"{one.reds} red"]
    parts += [] if one.state == "ended" else [one.state]
    return Subject(one.folder.name, " · ".join(parts), session=one.folder)


def of_take(path: str) -> Subject:
    """That take, to be scanned."""
    if path == DEMO:
        return Subject("demo-take", "the demo take", take=DEMO)
    return Subject(Path(path).stem, f"{Path(path).name} · take · {Path(path).parent}", take=path)


def sessions() -> Sequence[Subject]:
    """The newest sessions, the last one first; what is torn is left to `trackwarden sessions`."""
    summaries = []
    folders = (path for path in sessions_folder().iterdir() if (path / LOG).is_file())
    for folder in sorted(folders, reverse=True)[:MOST_SESSIONS]:
        try:
            summaries.append(summary(folder))
        except (NotALogError, OSError):
            continue
    summaries.sort(key=lambda one: one.utc_ms, reverse=True)
    return [of_session(one) for one in summaries]
