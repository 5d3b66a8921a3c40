"""Measured ticks in a row that are about to be judged one by one, and what is made of them ahead.

Half of what a detector costs is the start of small calls into numpy, as dear for one tick as for
ten. So what is a plain function of the sound is made for a whole block, or a bound is, which says
in which ticks a closer look is needed at all. A block of one tick is the live case.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise
from typing import Any, Generic, TypeVar

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray

from engine.model.messages import Measurement, Samples

Part = TypeVar("Part")


class TickBlock:
    """Ticks of the same tracks that follow each other; what several ask of all is laid out once.

    Attributes
    ----------
    ticks : tuple of Measurement
    """

    def __init__(self, ticks: Sequence[Measurement]) -> None:
        self.ticks = tuple(ticks)
        self._fields: dict[str, NDArray[Any]] = {}

    def field(self, name: str) -> NDArray[Any]:
        """That field of all measurements, the ticks along the first axis; not to be written to.

        It lies in memory as in each of them, so that sums along hops are made in the same order.
        """
        made = self._fields.get(name)
        if made is None:
            made = self._fields[name] = self._laid_out(name)
        return made

    def _laid_out(self, name: str) -> NDArray[Any]:
        first: NDArray[Any] = getattr(self.ticks[0], name)
        if len(self.ticks) == 1:
            return first[np.newaxis]
        values = [getattr(m, name) for m in self.ticks]
        if first.ndim == 2 and first.flags.f_contiguous and not first.flags.c_contiguous:
            return np.array([one.T for one in values]).swapaxes(1, 2)
        return np.array(values)

    @property
    def sound(self) -> Samples:
        """Their samples, shape (ticks, tracks, frames), contiguous along frames."""
        if "sound" not in self._fields:
            self._fields["sound"] = _together([m.samples.T for m in self.ticks])
        return self._fields["sound"]


class Ahead(Generic[Part]):
    """What was made of the ticks of a block, to be taken tick by tick.

    `make` gives one part for each tick of a block. Of a tick that nobody spoke of before, it is
    made when it is asked for.
    """

    def __init__(self, make: Callable[[TickBlock], Iterable[Part]]) -> None:
        self._make = make
        self._parts: deque[tuple[Measurement, Part]] = deque()

    def look(self, block: TickBlock) -> None:
        """Make the parts of ticks that are asked for next."""
        self._parts = deque(zip(block.ticks, self._make(block), strict=True))

    def of(self, m: Measurement) -> Part:
        """The part of that tick."""
        while self._parts:
            tick, part = self._parts.popleft()
            if tick is m:
                return part
        (part,) = self._make(TickBlock((m,)))
        return part


def rows_up_to(rows: NDArray[Any], count: int) -> NDArray[Any]:
    """The `count` rows up to each one that has so many, shape (ticks, count, ...), as a view.

    `rows` has one row a tick, `count - 1` of them of ticks before the first that is asked for.
    """
    rows = np.ascontiguousarray(rows)
    shape = (len(rows) - count + 1, count, *rows.shape[1:])
    return np.ndarray(shape, rows.dtype, rows, 0, (rows.strides[0], *rows.strides))


def _together(arrays: Sequence[Samples]) -> Samples:
    """Arrays of one shape as one, without a copy where they lie evenly in memory."""
    first = arrays[0]
    if len(arrays) == 1:
        return first[np.newaxis]
    at = [array.__array_interface__["data"][0] for array in arrays]
    step = at[1] - at[0]
    even = all(array.strides == first.strides for array in arrays) and step > 0
    if even and all(later - earlier == step for earlier, later in pairwise(at)):
        owners = {id(array.base) for array in arrays}
        if first.base is not None and len(owners) == 1:
            shape, strides = (len(arrays), *first.shape), (step, *first.strides)
            return as_strided(first, shape, strides, writeable=False)
    return np.array(arrays)
