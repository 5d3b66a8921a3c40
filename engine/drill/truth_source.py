"""What a drill's source says besides its sound, apart from all that puts the faults in: a watch
asks every source for it, and a start would be slower by the library of faults."""

from __future__ import annotations

from typing import Protocol, runtime_checkable

from engine.model.drill_truth import Truth
from engine.sources.base import Source


@runtime_checkable
class TruthSource(Protocol):
    """A source that puts faults into its sound."""

    def take_truths(self) -> list[Truth]:
        """The faults that began since this was last asked."""


def truths_of(source: Source | None) -> list[Truth]:
    """The faults that began since this was last asked; none where `source` is no drill's."""
    return source.take_truths() if isinstance(source, TruthSource) else []
