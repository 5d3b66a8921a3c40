"""Session folders: one for each watch, readable by its owner alone.

A folder holds the log (`session.sqlite`) and a copy of the plan. What its engine needs while it
runs lies elsewhere, see `engine.session.engines`.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import shutil
import tempfile
import time
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import Final

from platformdirs import user_data_path

from engine.model.commands import Open
from engine.plan.load import load_plan
from engine.session.engines import ensured, forget_running, runtime_of, write_private
from engine.sources.base import SourceError

LOG: Final = "session.sqlite"
PLAN: Final = "plan.toml"


def sessions_folder() -> Path:
    """Where all session folders are; made where it is missing and the disk allows it."""
    folder = user_data_path("trackwarden", appauthor=False) / "sessions"
    if _writable(folder):
        return folder
    folder = _makeshift()
    with suppress(OSError):
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def not_kept() -> str:
    """Why sessions are not kept for good, one line; empty where they are."""
    folder = user_data_path("trackwarden", appauthor=False) / "sessions"
    if _writable(folder):
        return ""
    return f"{folder} can't be written: this session lies in {_makeshift()} and may be gone later"


def _writable(folder: Path) -> bool:
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError:
        return False
    return os.access(folder, os.W_OK)


def _makeshift() -> Path:
    """Where sessions lie while the user's own folder can't be written."""
    user = hashlib.sha256(str(Path.home()).encode()).hexdigest()[:12]
    return Path(tempfile.gettempdir()) / f"trackwarden-{user}" / "sessions"


def session_folders() -> list[Path]:
    """Every session's folder, the newest first; none where they can't be read."""
    try:
        session_folders = [path for path in sessions_folder().iterdir() if path.is_dir()]
    except OSError:
        return []
    return sorted(session_folders, reverse=True)


def find_session(name: str) -> Path:
    """The session folder of that name, or of the one name that holds this part, or of that path.

    Raises
    ------
    SourceError
        Where there is none, or there are several.
    """
    if Path(name, LOG).is_file():
        return Path(name)
    folders = session_folders()[::-1]
    matches = [path for path in folders if path.name == name]
    matches = matches or [path for path in folders if name.lower() in path.name.lower()]
    if len(matches) == 1:
        return matches[0]
    hint = "`trackwarden sessions` lists them"
    if not matches:
        raise SourceError(f"{name}: no such session: {hint}")
    raise SourceError(f"{name}: fits {len(matches)} sessions: give more of the name; {hint}")


def new_session(now_s: float | None = None) -> Path:
    """A fresh folder, named after the wall clock (UTC); not made yet where the disk is full."""
    stamp = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime(now_s))
    while True:
        folder = sessions_folder() / f"{stamp}-{secrets.token_hex(2)}"
        try:
            folder.mkdir(mode=0o700)
        except FileExistsError:
            continue
        except OSError:  # the log is written once there is room
            if runtime_of(folder).exists():
                continue
        return folder


def with_own_plan(request: Open, folder: Path) -> Open:
    """The request with the session's own copy of its plan: a restart must not meet another one.

    Raises
    ------
    PlanError
        Where the plan can't be read.
    """
    assert request.plan is not None
    load_plan(Path(request.plan))
    keep_plan(folder, Path(request.plan).read_text(encoding="utf-8-sig"))
    return replace(request, plan=str(own_plan(folder)))


def keep_plan(folder: Path, text: str) -> None:
    """Write the session's own copy of the plan; beside the running engine where the disk is full.

    Raises
    ------
    OSError
        Where neither can be written.
    """
    spare = runtime_of(folder) / PLAN
    try:
        write_private(folder / PLAN, text)
    except OSError:
        write_private(ensured(spare.parent) / PLAN, text)
    else:
        spare.unlink(missing_ok=True)


def own_plan(folder: Path) -> Path | None:
    """The session's own copy of the plan, the newest; None where it has none."""
    copies = (runtime_of(folder) / PLAN, folder / PLAN)
    return next((path for path in copies if path.is_file()), None)


def remove_session(folder: Path) -> None:
    """A session that never began leaves nothing."""
    shutil.rmtree(folder, ignore_errors=True)
    forget_running(folder)
    shutil.rmtree(runtime_of(folder), ignore_errors=True)
