"""The truth of a drill: what was put in, as the session log keeps it."""

from __future__ import annotations

from dataclasses import dataclass

from engine.model.drill_causes import Cause
from engine.model.messages import Severity


@dataclass(frozen=True, slots=True)
class Truth:
    """One fault as it was really put in.

    `onset_s`, `end_s` in stream time of the whole take; `tracks` are input numbers. `severity` is
    the worst alarm that it deserves under default limits, None where it turned out too faint for
    one or (`NOTHING`) deserves none.
    """

    number: int
    cause: Cause
    tracks: tuple[int, ...]
    onset_s: float
    end_s: float
    strength: float
    severity: Severity | None
    remark: str

    @property
    def counts(self) -> bool:
        """It can be answered: a fault that is to be heard, or a false friend."""
        return self.severity is not None or self.cause is Cause.NOTHING
