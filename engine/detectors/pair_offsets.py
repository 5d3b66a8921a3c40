"""The gain offset of each pair that is usual: learned from its speech, and followed slowly."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.pair_change import SIBILANTS
from engine.detectors.pair_parts import BANDS, Part
from engine.detectors.pair_turns import band_medians
from engine.detectors.pairs import Pairs
from engine.model.messages import Flags, Levels
from engine.model.track_memory import TrackMemory, per_track
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Scene

HISTORY: Final = 240
"""Parts before the newest that say how far the pair wanders: a minute of its speech."""

WINDY_DB: Final = 10.0
"""What is duller than the voice usually is by more than this has no voice in it: vowels are 5 dB
duller than the median of speech, wind 20 (ours, measured on voices and on noise by Strasberg's
law)."""


@dataclass(frozen=True, slots=True, eq=False)
class LearnedOffsets:
    """What a restart need not learn anew.

    offset_db : main less safety, shape (bands, tracks), at the safety's index: of the whole voice,
        of the treble and of the sibilants; NaN where unknown
    main : input of the main it is learned against, shape (tracks,); -1 where there is none
    """

    offset_db: Levels
    main: Levels


_per_pair = partial(per_track, count="_pair_count", of="pairs")


class PairOffsets(TrackMemory):
    """What is usual of each pair.

    usual_db : main less safety, shape (bands, pairs); NaN where not known
    dull_db : voice less treble of main and safety, shape (2, pairs)
    young : known from what this watch heard in its first minute of speech, shape (pairs,)
    """

    usual_db: Levels = _per_pair(np.nan, rows=BANDS)
    dull_db: Levels = _per_pair(np.nan, rows=2)
    young: Flags = _per_pair(False)

    def __init__(self, pairs: Pairs, scene: Scene, *, learn_parts: int, follow_db: float) -> None:
        """Start with nothing known; `PairDrift` says what the numbers are."""
        self._learn_parts, self._follow_db = learn_parts, follow_db
        self._pairs, self._scene_tracks = pairs, len(scene.tracks)
        inputs = [scene.tracks[n].input for n in pairs.main]
        self._main_inputs: NDArray[np.int64] = np.array(inputs, dtype=np.int64)
        self._pair_count = len(pairs)
        self.reset()

    def remaps(self, before: PairOffsets, remap: TrackRemap) -> Mapping[str, TrackRemap]:
        """The pairs are what it counts; `remap` says where each was before."""
        return {"pairs": remap}

    @property
    def learned(self) -> LearnedOffsets:
        """What a restart need not learn anew."""
        offset_db = np.full((BANDS, self._scene_tracks), np.nan)
        main = np.full(self._scene_tracks, -1.0)
        offset_db[:, self._pairs.safety] = self.usual_db
        main[self._pairs.safety] = self._main_inputs
        return LearnedOffsets(offset_db, main)

    def learn(self, learned: LearnedOffsets) -> None:
        """Start from what an earlier watch of the same tracks learned, of pairs that still are."""
        same = learned.main[self._pairs.safety] == self._main_inputs
        self.usual_db = np.where(same, learned.offset_db[:, self._pairs.safety], np.nan)

    def teach(self, safety: int, voice_db: float, treble_db: float) -> None:
        """The offset of the pair of that safety's track index, from a line check."""
        self.usual_db[:, self._pairs.safety == safety] = [[voice_db], [treble_db], [np.nan]]

    def take_over(self, pair: int, parts: Iterable[Part]) -> None:
        """What those parts are like is what is usual."""
        self.usual_db[:, pair] = band_medians([part.offset_db for part in parts])
        self.dull_db[:, pair] = band_medians([part.dull_db[0] for part in parts])

    def is_voice(self, pair: int, part: Part) -> bool:
        """Whether what the pack that is louder than usual hears has a voice's treble: wind and
        blows have not."""
        louder = 0 if part.offset_db[0] > self.usual_db[0, pair] else 1
        return not part.dull_db[0, louder] > self.dull_db[louder, pair] + WINDY_DB

    def begin(self, pair: int, parts: list[Part]) -> None:
        """Learn it from the first speech, once there is enough."""
        if len(parts) >= self._learn_parts:
            self.take_over(pair, parts)
            self.young[pair] = True

    def follow(self, pair: int, history: list[Part], change_db: Levels) -> None:
        """An offset that was learned in this watch is the median of its first minute of speech;
        any other moves slowly."""
        if self.young[pair]:
            if len(history) >= self._learn_parts:
                self.take_over(pair, history)
            self.young[pair] = len(history) < HISTORY
        else:
            move_db = np.clip(change_db, -self._follow_db, self._follow_db)
            usual_db = self.usual_db[:, pair]
            usual_db += np.nan_to_num(move_db)
            if np.isnan(usual_db[SIBILANTS]) and len(history) >= self._learn_parts:
                heard_db = band_medians([part.offset_db for part in history])
                usual_db[SIBILANTS] = heard_db[SIBILANTS]  # no line check says it
