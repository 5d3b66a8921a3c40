"""A session log in memory."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from engine.model import dataclass_json
from engine.model.snapshot import LogState
from engine.session.checkpoint import Checkpoint
from engine.session.writer import LogLine, Stamp


@dataclass
class MemoryLog:
    """A log that keeps its lines."""

    lines: list[LogLine] = field(default_factory=list)
    problem: str = ""

    def write(self, lines: Sequence[LogLine], stamp: Stamp, *, now: bool = False) -> None:
        """Keep them."""
        self.lines += lines

    def state(self) -> LogState:
        """Saved 0.2 s ago."""
        return LogState(0.2, self.problem)

    def close(self) -> None:
        """Nothing to let go of."""

    def of(self, kind: str) -> list[tuple[Any, ...]]:
        """The values of each line of that kind."""
        return [line.values for line in self.lines if line.kind == kind]

    @property
    def kept(self) -> Checkpoint:
        """What a restart would find."""
        return dataclass_json.loads(Checkpoint, self.of("kept")[-1][0])
