"""Ticks made ready for another process: each field of all of them in one array.

A measurement has some thirty arrays, and sending each costs more than what is in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Measurement, Samples
from engine.model.tick import SampleFindings, Tick

LEFT_BEHIND: Final = ("samples", "steps_db", "peak_at")
"""What is too much to send, or not asked for there; samples have a way of their own
(`engine.pipeline.shared_sound`)."""
_NAMES: Final = tuple(one.name for one in fields(Measurement) if one.name not in LEFT_BEHIND)


@dataclass(frozen=True, slots=True, eq=False)
class PackedTicks:
    """Ticks in a row: of the measurements one array or tuple a field, the first axis by tick.

    turned : names of the fields that lie in memory track by track, though hops come first
    """

    numbers: tuple[int, ...]
    lost_frames: tuple[int, ...]
    heard: tuple[SampleFindings | None, ...]
    columns: Mapping[str, NDArray[Any] | tuple[Any, ...]]
    turned: frozenset[str]


def pack(ticks: Sequence[Tick]) -> PackedTicks:
    """Ticks of the same tracks, one or more, as one piece, without what is left behind."""
    columns: dict[str, NDArray[Any] | tuple[Any, ...]] = {}
    turned = set()
    for name in _NAMES:
        values = [getattr(tick.measurement, name) for tick in ticks]
        first = values[0]
        if not isinstance(first, np.ndarray):
            columns[name] = tuple(values)
        elif first.ndim == 2 and not first.flags.c_contiguous and first.flags.f_contiguous:
            turned.add(name)
            columns[name] = np.array([value.T for value in values])
        else:
            columns[name] = np.array(values)
    return PackedTicks(
        tuple(tick.number for tick in ticks),
        tuple(tick.lost_frames for tick in ticks),
        tuple(tick.heard for tick in ticks),
        columns,
        frozenset(turned),
    )


def unpack(packed: PackedTicks, sound: Samples | None = None) -> tuple[Tick, ...]:
    """The ticks as they were, each array as it lay in memory.

    `sound` has their samples, shape (ticks, tracks, frames); without it they have none. Nor have
    they levels over half a millisecond, or places of peaks.
    """
    tracks = len(packed.columns["lost"][0])
    if sound is None:
        sound = np.zeros((len(packed.numbers), tracks, 0), dtype=np.float32)
    no_steps_db = np.zeros((tracks, 0), dtype=np.float32)
    columns = [
        [one.T for one in column] if name in packed.turned else list(column)
        for name, column in packed.columns.items()
    ]
    measurements = [
        Measurement(
            samples=samples.T,
            steps_db=no_steps_db,
            **dict(zip(packed.columns, values, strict=True)),
        )
        for samples, *values in zip(sound, *columns, strict=True)
    ]
    parts = zip(packed.numbers, measurements, packed.lost_frames, packed.heard, strict=True)
    return tuple(Tick(*part) for part in parts)
