"""Lists what was watched: one line a session, and one for each file that is none."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

from app.style import wording
from engine.model.safe_text import harmless, json_text
from engine.session.folders import LOG, sessions_folder
from engine.session.schema import NotALogError
from engine.session.summary import SessionSummary, summary

HEADINGS = f"{'started':<19}  {'length':>8}  {'state':<10}  {'tracks':>6}  {'red':>4}  source"


def _row(one: SessionSummary) -> dict[str, Any]:
    return {
        "name": one.folder.name,
        "folder": str(one.folder),
        "utc": time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(one.utc_ms / 1000.0)),
        "watched_s": round(one.watched_s, 4),
        "source": one.source,
        "title": one.title,
        "tracks": one.tracks,
        "reds": one.reds,
        "state": one.state,
        "drill": one.drill or None,
    }


def listing(folder: Path | None = None) -> tuple[list[str], list[str]]:
    """Lines of all sessions, the newest first, and lines of what is no session or is torn."""
    summaries, odd = read_all(folder)
    return [line(one) for one in summaries], odd


def read_all(folder: Path | None = None) -> tuple[list[SessionSummary], list[str]]:
    """All sessions, the newest first, and a line for each that is none or is torn."""
    summaries, odd = [], []
    for path in sorted(_entries(folder or sessions_folder()), reverse=True):
        if not (path / LOG).is_file():
            odd.append(f"{path}: no session; left alone")
            continue
        try:
            summaries.append(summary(path))
        except NotALogError as error:
            odd.append(str(error))
    summaries.sort(key=lambda one: one.utc_ms, reverse=True)
    return summaries, odd


def _entries(folder: Path) -> list[Path]:
    try:
        return list(folder.iterdir())
    except OSError:  # on a disk that is full or read-only it may not be there
        return []


def line(one: SessionSummary) -> str:
    """One session: when it began (this computer's time zone), how long, how it stands, what."""
    began = time.strftime("%Y-%m-%d %H:%M:%S", time.localtime(one.utc_ms / 1000.0))
    length = wording.watching(one.watched_s)
    title = f" ({one.title})" if one.title else ""
    drill = f"DRILL {one.drill}: " if one.drill else ""
    what = f"{drill}{one.source}{title}, {one.folder.name}"
    return f"{began}  {length:>8}  {one.state:<10}  {one.tracks:>6}  {one.reds:>4}  {what}"


def print_sessions(*, as_json: bool = False) -> int:
    """Sessions to standard output, the rest to standard error; always 0: listing is no verdict."""
    if as_json:
        summaries, odd = read_all()
        rows = [_row(one) for one in summaries]
        document = {"kind": "sessions", "schema": 1, "sessions": rows, "failed": odd}
        print(json_text(document, indent=1))
        return 0
    lines, odd = listing()
    lines = [harmless(words) for words in lines]
    print("\n".join([HEADINGS, *lines]) if lines else "nothing was watched yet")
    for words in odd:
        print(harmless(words), file=sys.stderr)
    return 0
