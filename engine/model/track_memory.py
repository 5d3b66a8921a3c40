"""What is remembered of each track, declared once a class: creation, reset and carrying derive.

    class Knocks(TrackMemory):
        _count = per_track(0)                     # shape (tracks,)
        _levels = per_track(np.nan, rows=50)      # shape (50, tracks)
        _tick = remembered(By.WHOLE, 0)

        def __init__(self, tracks: int) -> None:
            self._tracks = tracks
            self.reset()

The attributes are plain ones of each object; the class only keeps how they are made and moved.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from engine.model.track_remap import By, TrackRemap, set_carried

TRACKS = "tracks"


@dataclass(frozen=True, slots=True)
class Remembered:
    """How one attribute is made and how it follows its tracks.

    by : how the tracks lie in it
    make : gives a fresh one for the object that remembers
    of : what its items belong to: tracks, or what `TrackMemory.remaps` names besides them
    lasting : a reset leaves it as it is
    """

    by: By
    make: Callable[[Any], Any]
    of: str
    lasting: bool = False


def per_track(
    fill: float | bool,
    *,
    rows: int | tuple[int, ...] = (),
    dtype: Any = None,
    count: str = "_tracks",
    of: str = TRACKS,
    lasting: bool = False,
) -> Any:
    """Declare an array with the tracks along its last axis.

    Parameters
    ----------
    fill : float, int or bool
        What it holds at first; its type is the array's, unless `dtype` says another.
    rows : int or tuple of int
        Axes before the last; none gives the shape (tracks,).
    count : str
        Attribute that holds how many there are.
    of : str
        What they are, if not tracks.
    lasting : bool
        A reset leaves it as it is.
    """
    kind = np.dtype(type(fill) if dtype is None else dtype)
    shape = (rows,) if isinstance(rows, int) else rows

    def make(owner: Any) -> Any:
        return np.full((*shape, getattr(owner, count)), fill, dtype=kind)

    return Remembered(By.LAST if shape else By.FIRST, make, of, lasting)


def remembered(by: By, fresh: Any, *, of: str = TRACKS) -> Any:
    """Declare anything else: `fresh` is its first value, or makes it from the object."""
    make = fresh if callable(fresh) else lambda owner: fresh
    return Remembered(by, make, of)


def each_track(make: Callable[[], Any]) -> Any:
    """Declare a list with one item a track."""
    return Remembered(By.FIRST, lambda owner: [make() for _ in range(owner._tracks)], TRACKS)


class TrackMemory:
    """Base of classes that remember something of each track; see the module's example."""

    _REMEMBERED: ClassVar[Mapping[str, Remembered]] = {}

    def __init_subclass__(cls) -> None:
        """Collect what the class declares; of each object the attributes are its own."""
        declared = {name: item for name, item in vars(cls).items() if isinstance(item, Remembered)}
        for name in declared:
            delattr(cls, name)
        cls._REMEMBERED = {**cls._REMEMBERED, **declared}
        super().__init_subclass__()

    def reset(self) -> None:
        """Forget the sound, keep the scene."""
        for name, item in self._REMEMBERED.items():
            if not (item.lasting and hasattr(self, name)):
                setattr(self, name, item.make(self))

    def remaps(self, before: Any, remap: TrackRemap) -> Mapping[str, TrackRemap]:
        """Where what each attribute belongs to was before; a class with more than tracks adds it.

        `before` is the object that is followed, of the same class.
        """
        del before
        return {TRACKS: remap}

    def carry(self, before: Any, remap: TrackRemap) -> None:
        """Take over what `before` remembers of the tracks that stay."""
        remaps = self.remaps(before, remap)
        for name, item in self._REMEMBERED.items():
            if item.by is not By.ANEW:
                set_carried(self, before, remaps[item.of], name, item.by)
