"""Silent: the place itself (room, wind, cloth, breath) is no longer audible on the track.

Model: a live microphone always hears its place, so a level that stays below presence means that
sound no longer reaches the recorder; how long is normal depends on the kind (contract).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.detectors.base import Feed, condition, unknown
from engine.model import Condition, Fault, Measurement
from engine.tracks import Scene
from engine.units import rms_dbfs

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
        self._level_dbfs = np.full(self._tracks, np.nan)

    def update(self, measurement: Measurement | None, feed: Feed) -> Condition:
        """Active where the track is not present."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        audible = m.valid & (rms_dbfs(m.mean_square) >= m.presence_dbfs)
        ends_s = m.start_s + m.hop_s * np.arange(1, len(audible) + 1)
        latest_s = np.where(audible, ends_s[:, None], -np.inf).max(axis=0)
        first_s = np.where(audible, ends_s[:, None] - m.hop_s, m.end_s).min(axis=0)
        self._heard_s += m.present * (m.end_s - m.start_s)
        self._audible_s = np.where(
            m.present, np.maximum(latest_s, self._audible_s), self._audible_s
        )
        self._level_dbfs = m.level_dbfs
        known = m.valid.any(axis=0) & self._watched
        return condition(~m.present, known, self._audible_s, first_s)

    def detail(self, place: int) -> str:
        """What was seen, one line."""
        if self._heard_s[place] < HEARD_S:
            return "never heard: nothing above presence since the watch began"
        return f"nothing above presence, level {self._level_dbfs[place]:.0f} dBFS"
