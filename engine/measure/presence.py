"""Whether background or room tone is audible on a track, and from which level it counts as such."""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.measure.floor import MARGIN_DB
from engine.model.messages import Flags, Kind, Levels, PackLevel
from engine.model.track_memory import TrackMemory, per_track
from engine.model.tracks import Scene
from engine.model.units import IDLE_DBFS

UNLEARNED_DBFS: Final = -75.0
UNLEARNED_SAFETY_DBFS: Final = -85.0
"""Before anything was learned (CONTRACT.md, fine print): under any healthy pause."""

LOUDEST_FLOOR_DBFS: Final = -48.0
LOUDEST_SAFETY_FLOOR_DBFS: Final = -60.0
"""Top of the healthy live floors (CONTRACT.md; a safety lies about 12 dB lower, common practice, no
source). A floor learned above it, from a line-up tone or an engine, must not make the pause after
it count as silence. A crowd is that loud, so ambience knows no such limit."""

HYSTERESIS_DB: Final = 2.0


def unlearned_dbfs(scene: Scene) -> Levels:
    """Presence level of each track while no floor is known, shape (tracks,): plan, else default."""
    default = np.where(_safeties(scene), UNLEARNED_SAFETY_DBFS, UNLEARNED_DBFS)
    planned = scene.numbers("presence_dbfs")
    return np.where(np.isnan(planned), default, planned)


def loudest_floor_dbfs(scene: Scene) -> Levels:
    """Top of the healthy live floors of each track, shape (tracks,); ambience as a main."""
    return np.where(_safeties(scene), LOUDEST_SAFETY_FLOOR_DBFS, LOUDEST_FLOOR_DBFS)


class Presence(TrackMemory):
    """The signal-present state of every track, on its AES17 RMS over 400 ms.

    Present from the presence level on (inclusive), until the level is more than 2 dB below it.
    A level that is not known (NaN) changes nothing and is not counted.
    """

    present: Flags = per_track(False)
    _present_ticks: Levels = per_track(0.0)
    _known_ticks: Levels = per_track(0.0)

    def __init__(self, scene: Scene, *, hysteresis_db: float = HYSTERESIS_DB) -> None:
        """Start with nothing present.

        Parameters
        ----------
        scene : Scene
            Whose tracks are measured.
        hysteresis_db : float
            dB. A track that is present stays so until it is this far below its level.
        """
        self._hysteresis_db = hysteresis_db
        self._planned = scene.numbers("presence_dbfs")
        self._unlearned = unlearned_dbfs(scene)
        self._loudest = np.where(scene.kinds(Kind.AMBIENCE), np.inf, loudest_floor_dbfs(scene))
        self._tracks = len(scene.tracks)
        self.threshold_dbfs = self._unlearned
        self.reset()

    def follow(self, floor_dbfs: Levels) -> None:
        """Set each track's level: the plan's, else the floor minus a margin, else the default."""
        learned = np.maximum(np.minimum(floor_dbfs, self._loudest) - MARGIN_DB, IDLE_DBFS)
        free = np.isnan(self._planned) & ~np.isnan(floor_dbfs)
        self.threshold_dbfs = np.where(free, learned, self._unlearned)

    def update(self, level_dbfs: Levels) -> Flags:
        """Take in the level at the end of one tick, give the new state, shape (tracks,)."""
        known = ~np.isnan(level_dbfs)
        limit = self.threshold_dbfs - self._hysteresis_db * self.present
        self.present = np.where(known, level_dbfs >= limit, self.present)
        self._present_ticks += known & self.present
        self._known_ticks += known
        return self.present

    @property
    def fraction(self) -> Levels:
        """Share of the known ticks in which the track was present; NaN where none was known."""
        share = self._present_ticks / np.maximum(self._known_ticks, 1.0)
        return np.where(self._known_ticks > 0, share, np.nan)


def _safeties(scene: Scene) -> Flags:
    return np.array([track.level is PackLevel.SAFETY for track in scene.tracks], dtype=np.bool_)
