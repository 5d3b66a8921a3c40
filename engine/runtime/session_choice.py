"""Which session a window looks at: one that runs, one that broke off, or a new one."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path

from engine.model.commands import Open
from engine.session import engines, folders


@dataclass(frozen=True, slots=True)
class SessionChoice:
    """joined : its engine runs; broke_off : it has none any more, and goes on where it was."""

    folder: Path
    joined: bool = False
    broke_off: bool = False


def choose_session(request: Open, running: Path | None = None) -> SessionChoice:
    """The session for what is asked; `running` is one to join whatever is asked.

    A live input that is watched already is joined; a watch of it that broke off with the whole
    machine goes on where it was.
    """
    running = running or _running_for(request)
    if running is not None:
        return SessionChoice(running, joined=True)
    broken = _broken_off(request)
    if broken is not None:
        return SessionChoice(broken, broke_off=True)
    return SessionChoice(folders.new_session())


def with_whole_paths(request: Open) -> Open:
    """The same for an engine, which has a working folder of its own."""
    take = None if request.take is None else os.path.abspath(request.take)
    plan = None if request.plan is None else os.path.abspath(request.plan)
    return replace(request, take=take, plan=plan)


def _broken_off(request: Open) -> Path | None:
    """The session of that request to go on with."""
    if request.device is None:
        return None
    from engine.session.resume import broken_off  # loads what only this needs

    return broken_off(request)


def _running_for(request: Open) -> Path | None:
    """The session that watches exactly that live input now; other spellings the engine finds."""
    if request.device is None:
        return None
    for folder, engine in engines.running_watches(folders.sessions_folder()):
        if engine.live and request.device in (engine.request.device, engine.source):
            return folder
    return None
