"""A live input, as far as the window knows it."""

from __future__ import annotations

from typing import Protocol


class Input(Protocol):
    """A live input as the start page lists it."""

    @property
    def index(self) -> int:
        """Its number in the list of inputs."""
        ...

    @property
    def name(self) -> str:
        """As the system names it."""
        ...

    @property
    def host_api(self) -> str:
        """Through which sound system it is reached."""
        ...

    @property
    def channels(self) -> int:
        """How many it has."""
        ...

    @property
    def default_rate_hz(self) -> float:
        """Its sample rate unless another is asked for, Hz."""
        ...
