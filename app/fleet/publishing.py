"""Who publishes the watch of a session, and how that stands: two small files in its folder.

`publisher.json` names the one that is to do it: whoever is not named there ends. So there is never
more than one for long, and taking the file away switches it off.
"""

from __future__ import annotations

import json
import secrets
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from engine.session import engines

WANTED: Final = "publisher.json"
STATUS: Final = "publisher-status.json"
LOOK_S: Final = 0.5
BEAT_S: Final = 5.0
"""Without a word for two of these a publisher is gone."""


@dataclass(frozen=True, slots=True)
class Status:
    """Where the watch is published, and why not at the moment; `problem` is one line."""

    address: str
    problem: str


class Publishing:
    """The publisher's own hand on both files.

    Raises
    ------
    OSError
        Where they can't be written.
    """

    def __init__(self, folder: Path, address: str) -> None:
        self._folder, self._address = folder, address
        self._token = secrets.token_hex(8)
        self._looked_at = self._told_at = time.monotonic()
        self._wanted, self._told = True, ""
        engines.write_private(folder / WANTED, json.dumps({"token": self._token}))
        self._write("connecting")

    def wanted(self) -> bool:
        """This publisher is still the one that is to do it."""
        now = time.monotonic()
        if now - self._looked_at >= LOOK_S:
            self._looked_at = now
            self._wanted = _read(self._folder / WANTED).get("token") == self._token
        return self._wanted

    def tell(self, problem: str) -> None:
        """How it stands; written where that changed, and now and then as a sign of life."""
        now = time.monotonic()
        if problem != self._told or now - self._told_at >= BEAT_S:
            self._told_at = now
            self._write(problem)

    def end(self) -> None:
        """Leave nothing behind, unless another has taken over."""
        if _read(self._folder / WANTED).get("token") == self._token:
            for name in (WANTED, STATUS):
                (self._folder / name).unlink(missing_ok=True)

    def _write(self, problem: str) -> None:
        self._told = problem
        said = {"token": self._token, "address": self._address, "problem": problem}
        with suppress(OSError):  # a full disk must not end the publishing
            engines.write_private(self._folder / STATUS, json.dumps(said))


def status(folder: Path) -> Status | None:
    """How the publishing of that session stands; None where nobody does it."""
    wanted, said = _read(folder / WANTED), _read(folder / STATUS)
    if not wanted:
        return None
    if said.get("token") != wanted.get("token"):
        return Status("", "connecting")
    try:
        age_s = time.time() - (folder / STATUS).stat().st_mtime
    except OSError:
        return None
    if age_s > 2 * BEAT_S:
        return None
    return Status(str(said.get("address")), str(said.get("problem")))


def switch_off(folder: Path) -> None:
    """Whoever publishes that session says goodbye and ends."""
    (folder / WANTED).unlink(missing_ok=True)


def _read(path: Path) -> dict[str, Any]:
    try:
        said = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return said if isinstance(said, dict) else {}
