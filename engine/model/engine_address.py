"""Where a running engine listens for windows."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Address:
    """Where an engine listens, and the key that both ends must know."""

    path: str
    key: bytes
