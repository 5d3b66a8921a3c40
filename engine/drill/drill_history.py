"""The crew's own earlier drills: one JSON line each in a file that its owner alone can read."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from platformdirs import user_data_path

from engine.drill.read_log import Drill
from engine.model import dataclass_json


@dataclass(frozen=True, slots=True)
class Past:
    """One drill in short; `seen_s` and `found_s` are medians, None where there was nothing.

    `session` names the session's folder: a drill is kept once. `stopped`: ended early.
    """

    session: str
    utc_ms: int
    source: str
    seed: int
    level: str
    blind: bool
    faults: int
    missed: int
    right: int
    false_calls: int
    found: int
    seen_s: float | None
    found_s: float | None
    unseen_s: float
    stopped: bool = False


def past_of(drill: Drill, session: str) -> Past:
    """That drill in short."""
    score = drill.score
    return Past(
        session=session,
        utc_ms=drill.utc_ms,
        source=drill.source,
        seed=drill.seed,
        level=drill.level,
        blind=drill.blind,
        faults=len(score.faults),
        missed=score.missed,
        right=score.right,
        false_calls=score.false_calls,
        found=score.found,
        seen_s=score.seen_s,
        found_s=score.found_s,
        unseen_s=score.unseen_s,
        stopped=drill.stopped,
    )


def history_file() -> Path:
    """Where this user's drills are kept."""
    return user_data_path("trackwarden", appauthor=False) / "drills.jsonl"


def earlier(path: Path) -> tuple[Past, ...]:
    """All drills kept there, oldest first; a line that is damaged is passed over.

    Raises
    ------
    OSError
        Where the file is there but can't be read.
    """
    try:
        lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    except FileNotFoundError:
        return ()
    by_session: dict[str, Past] = {}
    for line in lines:
        try:
            one = dataclass_json.loads(Past, line)
        except ValueError:
            continue
        by_session[one.session] = one  # the newest of a session says all
    return tuple(sorted(by_session.values(), key=lambda one: one.utc_ms))


def keep(path: Path, past: Past) -> None:
    """Add a drill at the end of the file.

    Raises
    ------
    OSError
        Where it can't be written.
    """
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    handle = os.open(path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o600)
    try:
        os.write(handle, (dataclass_json.dumps(past) + "\n").encode())
    finally:
        os.close(handle)


def others(drills: Sequence[Past], session: str) -> tuple[Past, ...]:
    """All but that session's."""
    return tuple(past for past in drills if past.session != session)
