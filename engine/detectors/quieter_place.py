"""Whether the place became quieter while somebody spoke, for whom it shows in the next pause only.

Model: where a source stops, each mic falls as soon as its wearer pauses. Whoever talked meanwhile
was last as quiet as ever beside that source; if most others were found to have fallen since, and
one of them as far, the place explains the fall. Numbers: ours.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from engine.model.messages import Flags, Levels
from engine.model.track_memory import TrackMemory, per_track

LEAST_OTHERS: Final = 2
MOST: Final = 0.5
"""Share of the others that fell."""


class QuieterPlace(TrackMemory):
    """Keeps when each track was last as quiet as ever, and when and by how much it fell alive."""

    _confirmed_s: Levels = per_track(-np.inf)
    _fell_s: Levels = per_track(-np.inf)
    _fall_db: Levels = per_track(0.0)

    def __init__(self, open_tracks: Flags, near_db: float) -> None:
        """`near_db`: one that fell by less than this more than any other fell as far."""
        self._open, self._near_db = open_tracks, near_db
        self._tracks = len(open_tracks)
        self.reset()

    def confirm(self, where: Flags, now_s: float) -> None:
        """There the track is about as quiet as it ever was."""
        self._confirmed_s[where] = now_s

    def fell(self, track_index: int, fall_db: float, now_s: float) -> None:
        """That track is alive in a place that is quieter by so much."""
        self._fell_s[track_index], self._fall_db[track_index] = now_s, fall_db

    def is_quieter(self, track_index: int, fall_db: float, quietest_db: Levels) -> bool:
        """Whether the place explains a fall by `fall_db` on that track.

        quietest_db : (tracks,) quietest live level of each, NaN where it is not known
        """
        others = self._open & ~np.isnan(quietest_db)
        others[track_index] = False
        fell = others & (self._fell_s > self._confirmed_s[track_index])
        number = np.count_nonzero(others)
        if number < LEAST_OTHERS or np.count_nonzero(fell) < MOST * number:
            return False
        return bool(fall_db <= self._fall_db[fell].max() + self._near_db)
