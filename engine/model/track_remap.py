"""What a watch remembers of its tracks, moved along when its plan is changed.

What a class remembers of each track, and how its tracks lie, is declared in it
(`engine.model.track_memory`); whatever is not declared begins anew.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import Enum, auto
from typing import Any

import numpy as np
from numpy.typing import NDArray


class By(Enum):
    """How the tracks lie in what is remembered."""

    FIRST = auto()
    """Along the first axis of an array, or one item a track of a list."""
    LAST = auto()
    """Along the last axis of an array."""
    NEWEST = auto()
    """The same, newest row last; the fresh one may be longer or shorter."""
    KEYS = auto()
    """A dictionary by track index, or by several of them."""
    EACH = auto()
    """A list of arrays, tracks first, or of parts that move themselves."""
    PART = auto()
    """An object with a `carry` of its own."""
    WHOLE = auto()
    """The same for all tracks."""
    ANEW = auto()
    """Begins anew."""


@dataclass(frozen=True, slots=True, eq=False)
class TrackRemap:
    """Where each track was before: `old` has shape (tracks now,), -1 for one that begins anew."""

    old: NDArray[np.int64]

    @classmethod
    def of(cls, before: Sequence[object], after: Sequence[object]) -> TrackRemap:
        """From what makes a track the same one before and after."""
        index_of = {track: track_index for track_index, track in enumerate(before)}
        return cls(np.array([index_of.get(track, -1) for track in after], dtype=np.int64))

    def stays(self, tracks_before: int) -> bool:
        """Every track is where it was, and none came or went."""
        return np.array_equal(self.old, np.arange(tracks_before))

    @property
    def new(self) -> Mapping[int, int]:
        """Where each track that stays is now, by where it was."""
        return {int(was): track_index for track_index, was in enumerate(self.old) if was >= 0}

    def first(self, old: Any, fill: Any) -> Any:
        """That array with its first axis moved; `fill` where a track is new, if it broadcasts."""
        stay = self.old >= 0
        out = np.empty((len(self.old), *old.shape[1:]), dtype=old.dtype)
        if np.size(fill):
            out[:] = fill
        else:
            out[:] = np.nan if out.dtype.kind == "f" else 0
        out[stay] = old[self.old[stay]]
        return out

    def last(self, old: Any, fill: Any) -> Any:
        """The same for its last axis."""
        moved = self.first(np.moveaxis(old, -1, 0), np.moveaxis(np.atleast_1d(fill), -1, 0))
        return np.ascontiguousarray(np.moveaxis(moved, 0, -1))


def set_carried(fresh: Any, before: Any, remap: TrackRemap, name: str, by: By) -> None:
    """Take over one thing that is remembered."""
    old, new = getattr(before, name), getattr(fresh, name)
    if by is By.PART:
        new.carry(old, remap)
        return
    setattr(fresh, name, _moved(old, new, remap, by))


def _moved(old: Any, new: Any, remap: TrackRemap, by: By) -> Any:
    match by:
        case By.WHOLE:
            return old
        case By.LAST:
            return remap.last(old, new)
        case By.NEWEST:
            rows = min(len(old), len(new))
            moved = new.copy()
            moved[len(new) - rows :] = remap.last(old[len(old) - rows :], new[len(new) - rows :])
            return moved
        case By.KEYS:
            return {**new, **_by_track(old, remap.new)}
        case By.EACH:
            return [_each(one, remap) for one in old]
    if isinstance(old, list):
        return [new[n] if was < 0 else old[was] for n, was in enumerate(remap.old)]
    return remap.first(old, new)


def _by_track(old: Mapping[Any, Any], now: Mapping[int, int]) -> dict[Any, Any]:
    moved: dict[Any, Any] = {}
    for key, value in old.items():
        indices = key if isinstance(key, tuple) else (key,)
        if all(track_index in now for track_index in indices):
            now_at = tuple(now[track_index] for track_index in indices)
            moved[now_at if isinstance(key, tuple) else now_at[0]] = value
    return moved


def _each(one: Any, remap: TrackRemap) -> Any:
    return remap.first(one, 0) if isinstance(one, np.ndarray) else one.moved(remap)
