"""Silent: the place itself (room, wind, cloth, breath) is no longer audible on the track.

Model: a live microphone always hears its place, so a level that stays below presence means that
sound no longer reaches the recorder; how long is normal depends on the kind (contract).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.detectors.base import Feed, condition, span_s, unknown
from engine.model import Condition, Fault, Flags, Measurement
from engine.tracks import Scene
from engine.units import rms_dbfs, stated

LEVEL_S: Final = 0.4
"""The level that decides on presence is over this long: sound can't be further back."""

HEARD_S: Final = 0.4
"""Present this long in all before a track counts as heard at all."""


class Silent:
    """Follows the signal-present state; the onset is the last hop that was still audible."""

    def __init__(self, scene: Scene) -> None:
        self._watched = scene.watched(Fault.SILENT)
        self._tracks = len(scene.tracks)
        self.reset()

    def reset(self) -> None:
        """Forget the sound, keep the scene."""
        self._audible_s = np.zeros(self._tracks)
        self._heard_s = np.zeros(self._tracks)
        self._quiet_s = np.zeros(self._tracks)
        self._stirring: Flags = np.zeros(self._tracks, dtype=np.bool_)
        self._level_dbfs = np.full(self._tracks, np.nan)

    def update(self, measurement: Measurement | None, feed: Feed) -> Condition:
        """Active where the track is not present."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        self._follow(m, m.valid & (rms_dbfs(m.mean_square) >= m.presence_dbfs))
        self._heard_s += m.present * (m.end_s - m.start_s)
        self._level_dbfs = m.level_dbfs
        known = m.valid.any(axis=0) & ~np.isnan(m.level_dbfs) & self._watched
        return condition(~m.present, known, self._audible_s, self._quiet_s)

    def _follow(self, m: Measurement, audible: Flags) -> None:
        """Keep until when each track was heard, and until when it was quiet since.

        A single audible hop is no return, but where sound does return, it was quiet until the
        first of the audible ticks that led to it.
        """
        first_s, last_s = span_s(audible, m)
        any_audible = audible.any(axis=0)
        heard_s = np.where(any_audible, last_s, -np.inf)
        heard_s = np.fmax(heard_s, np.where(np.isnan(m.level_dbfs), -np.inf, m.end_s - LEVEL_S))
        self._audible_s = np.where(m.present, np.fmax(heard_s, self._audible_s), self._audible_s)
        since_s = np.where(self._stirring, self._quiet_s, first_s)
        self._quiet_s = np.where(any_audible, np.fmax(since_s, m.end_s - LEVEL_S), m.end_s)
        self._stirring = np.asarray(any_audible & ~m.present)

    def detail(self, place: int) -> str:
        """What was seen, one line."""
        if self._heard_s[place] < HEARD_S:
            return "never heard: nothing above presence since the watch began"
        level_dbfs = stated(float(self._level_dbfs[place]))
        level = "no level at all" if level_dbfs is None else f"level {level_dbfs:.0f} dBFS"
        return f"nothing above presence, {level}".replace("-", "−")
