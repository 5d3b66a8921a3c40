"""What places in a report are called, so that a row can lead to them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Anchors:
    """Those of the report's section of that number."""

    section: int

    @property
    def take(self) -> str:
        """The take's own heading."""
        return f"take-{self.section + 1}"

    def incident(self, number: int) -> str:
        """An incident's row among all of them."""
        return f"{self.take}-incident-{number}"
