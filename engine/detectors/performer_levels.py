"""Of each track, the loudest pack of its own performer and the loudest of any other."""

from __future__ import annotations

import numpy as np

from engine.model.flag_arrays import indices
from engine.model.messages import Kind, Levels
from engine.model.tracks import Scene


class PerformerLevels:
    """Compares performers by their packs; a track that is no lavalier has itself alone.

    No pair by pair comparison, whose cost grows with the square of the
    tracks: the loudest of all others is the loudest performer, but for that one the next.
    """

    def __init__(self, scene: Scene) -> None:
        """Sort the packs of that scene by performer."""
        whos = [t.who or f"input {t.input}" for t in scene.tracks]
        lav = scene.kinds(Kind.LAV)
        performers = list(dict.fromkeys(whos[n] for n in indices(lav).tolist()))
        # The last group is nobody's: no track without packs of its performer asks another.
        group = {who: n for n, who in enumerate(performers)}
        self._group = np.array([group.get(who, len(group)) for who in whos], dtype=np.int64)
        packs = indices(lav)
        self._packs = packs[np.argsort(self._group[packs], kind="stable")]
        self._firsts = np.searchsorted(self._group[self._packs], np.arange(len(group)))
        self._lav, self._groups = lav, np.arange(len(group) + 1)

    def own(self, levels: Levels) -> Levels:
        """The highest level of each track's own performer, shape (ticks, tracks) as `levels`, which
        are none below 0."""
        return np.maximum(levels, self._by_performer(levels)[:, self._group])

    def others(self, levels: Levels) -> Levels:
        """The highest of all other performers; 0 where there is none, or the track is no pack."""
        loudest = self._by_performer(levels)
        is_first = self._groups == loudest.argmax(axis=1)[:, np.newaxis]
        highest = loudest.max(axis=1, keepdims=True)
        next_highest = np.where(is_first, 0.0, loudest).max(axis=1, keepdims=True)
        others = np.where(is_first, next_highest, highest)
        return np.asarray(others[:, self._group] * self._lav)

    def _by_performer(self, levels: Levels) -> Levels:
        """The highest of each performer's packs, shape (ticks, performers and nobody)."""
        highest = np.zeros((len(levels), len(self._groups)))
        if len(self._packs):
            packs = levels[:, self._packs]
            np.maximum.reduceat(packs, self._firsts, axis=1, out=highest[:, :-1])
        return highest
