"""What detectors learned by themselves or from a line check, kept over a restart.

Every detector that has `learned` and `learn` is kept, and so is the watch for early signs; what it
learned is a dataclass of arrays, each of shape (tracks,) or (rows, tracks).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields, replace
from typing import Any, Protocol, runtime_checkable

import numpy as np

from engine.model.track_remap import TrackRemap


@runtime_checkable
class Learner(Protocol):
    """A detector that need not learn everything anew after a restart."""

    @property
    def learned(self) -> Any:
        """A dataclass of arrays."""

    def learn(self, learned: Any) -> None:
        """Start from what an earlier watch of the same tracks learned."""


@dataclass(frozen=True, slots=True)
class Memory:
    """What one detector learned: its class's name, and each field's rows in track order."""

    detector: str
    fields: tuple[tuple[tuple[float, ...], ...], ...]


def keep(detectors: Iterable[object]) -> tuple[Memory, ...]:
    """What all of them learned so far."""
    return tuple(
        Memory(type(d).__name__, tuple(_rows(getattr(learned, f.name)) for f in fields(learned)))
        for d in detectors
        if isinstance(d, Learner)
        for learned in (d.learned,)
    )


def restore(detectors: Iterable[object], memories: Iterable[Memory]) -> None:
    """Teach them what an earlier watch of the same tracks kept.

    A detector that was not kept, or learns something else by now, begins anew.
    """
    kept = {memory.detector: memory.fields for memory in memories}
    for detector in detectors:
        if not isinstance(detector, Learner):
            continue
        before = detector.learned
        shapes = [np.shape(getattr(before, f.name)) for f in fields(before)]
        arrays = [
            np.array(rows, dtype=np.float64) for rows in kept.get(type(detector).__name__, ())
        ]
        if [a.size for a in arrays] == [int(np.prod(shape)) for shape in shapes]:
            shaped = [a.reshape(shape) for a, shape in zip(arrays, shapes, strict=True)]
            detector.learn(type(before)(*shaped))


def moved(memories: Iterable[Memory], remap: TrackRemap) -> tuple[Memory, ...]:
    """The same of the tracks as remapped; of a new one nothing is known."""
    return tuple(
        replace(
            memory,
            fields=tuple(_rows(remap.last(np.array(rows), np.nan)) for rows in memory.fields),
        )
        for memory in memories
    )


def _rows(array: Any) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(row) for row in np.atleast_2d(np.asarray(array, np.float64)).tolist())
