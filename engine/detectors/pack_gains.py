"""By how much louder a performer is on one of two packs than on the other, learned from speech.

Model: two packs on one body differ by their gains, and that is how they differ in all that comes
through the air. What comes in behind their gains, at an output or on a cable, is on one alone or as
loud on both.
"""

from __future__ import annotations

from typing import Final

from engine.model.messages import Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track
from engine.model.tracks import Scene
from engine.model.units import rms_dbfs

SPOKEN: Final = 0.5
"""Share of a tick's hops with speech, so that its level is that of the voice."""
FADE: Final = 1.0 - 1.0 / 100.0
"""Of each tick of speech on what was heard before: a mean over a hundred of them."""
LEAST_TICKS: Final = 4
NEAR_DB: Final = 4.0
"""A voice and an engine reach the two packs from two sides: they differ as much at most (ours)."""
STAGGERED_DB: Final = 24.0
"""A safety is set 6 to 20 dB below the main (common practice, no source), heard as above."""


class PackGains(TrackMemory):
    """Learns the gains of all pairs of a scene, one against the other."""

    _power: Levels = per_track(0.0)
    """Sums over ticks in which both packs heard speech, and their number."""
    _ticks: Levels = per_track(0.0)

    def __init__(self, scene: Scene) -> None:
        self._tracks = len(scene.tracks)
        self._pairs = scene.pairs()
        self._mains = {main for main, _ in self._pairs}
        self.mates = {a: b for pair in self._pairs for a, b in (pair, pair[::-1])}
        self.reset()

    def learn(self, m: Measurement) -> None:
        """Take in one tick."""
        if not self._pairs:
            return
        speaks = (m.speech & m.valid).mean(axis=0) >= SPOKEN
        for pair in self._pairs:
            both = list(pair)
            if speaks[both].all():
                self._power[both] = FADE * self._power[both] + m.mean_square[:, both].mean(axis=0)
                self._ticks[both] = FADE * self._ticks[both] + 1.0

    def is_sound(self, track_index: int, louder_db: float) -> bool:
        """Whether what is so much louder on that pack than on its mate came through the air: both
        differ as the voice does, rather than not at all. Until they heard it, the main is the
        louder, as it is meant to be.

        Parameters
        ----------
        track_index : int
            That of a track with a mate.
        louder_db : float
            dB.
        """
        if self._ticks[track_index] < LEAST_TICKS:
            main_db = louder_db if track_index in self._mains else -louder_db
            return NEAR_DB < main_db < STAGGERED_DB
        own_dbfs, mate_dbfs = rms_dbfs(self._power[[track_index, self.mates[track_index]]])
        off_db = abs(louder_db - (own_dbfs - mate_dbfs))
        return bool(off_db < min(NEAR_DB, abs(louder_db)))
