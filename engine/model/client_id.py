"""Who asks: the user, the place (window or terminal) and its process."""

from __future__ import annotations

import getpass
import os
from dataclasses import dataclass
from typing import Final

FOLLOWERS: Final = frozenset({"page", "publisher"})
"""Places that look at a watch for others; the watch does not go on for their sake."""


@dataclass(frozen=True, slots=True)
class ClientId:
    """One window or terminal that looks at a watch."""

    place: str
    user: str
    pid: int


def this_process(place: str) -> ClientId:
    """This process, as `place`: window, terminal, engine or one of `FOLLOWERS`."""
    try:
        user = getpass.getuser()
    except (OSError, KeyError):  # a user without a name
        user = ""
    return ClientId(place, user, os.getpid())
