"""What the checks of a pair share: main and safety of one `who`, and where somebody speaks."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.tick_block import TickBlock
from engine.model.flag_arrays import any_of, count_of, indices
from engine.model.messages import Fault, Flags, Kind, Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track
from engine.model.track_remap import TrackRemap
from engine.model.tracks import Scene
from engine.model.units import mean_square_at

OVERLOAD: Final = 0.98
"""Hops whose peak reaches this say nothing of a pair: one of the two may be clipped."""

PART_S: Final = 0.25
"""Speech of a pair is judged in parts of this many seconds of it."""
PAUSE_S: Final = 3.0
"""What was said before a pause this long may have been heard otherwise: another's voice, turned
away."""
BREAK_S: Final = 0.25
"""After a pause this long the part that fills counts from where speech went on, once more of it was
said since than before."""
EARLY: Final = 0.9
"""Share of the seconds of speech allowed (CONTRACT.md) that is waited for: parts are coarse, and
hops near the limit may count on the one side only."""
RIVAL: Final = 30.0
SAFETY_GAIN: Final = 10.0
"""A tick in which another performer's pack has more than this many times the energy is theirs; a
safety's counts as if it were 10 dB louder (common practice, no source)."""
OWN: Final = 4.0
"""So many times as far over the floor as on any other performer's pack stands the wearer's own
voice: another body is ten times as far off; in an embrace neither's is clear."""


_NO_PAIRS: Final = np.empty(0, dtype=np.int64)


def parts_in(seconds: Levels) -> NDArray[np.int64]:
    """How many parts are waited for where so many seconds of speech are allowed."""
    return np.maximum(np.floor(EARLY * seconds / PART_S), 1.0).astype(np.int64)


class PartClock(TrackMemory):
    """When the part of each pair that fills began, and how full it is.

    What a part says is what most of its energy says: single hops long before do not date it.
    """

    begin_s: Levels = per_track(np.nan)
    _again_s: Levels = per_track(np.nan)
    _before: Levels = per_track(0.0)
    _since: Levels = per_track(0.0)
    _open: Flags = per_track(False)
    _filled_s: Levels = per_track(0.0)
    _last_s: Levels = per_track(-np.inf)

    def __init__(self, pairs: Pairs) -> None:
        self._pairs = pairs
        self._tracks = len(pairs)  # it counts pairs as others count tracks
        self.reset()

    def drop_old(self, speech: Flags, m: Measurement) -> Flags:
        """Empty the parts that fill where speech goes on after a long pause; where that was so."""
        old = self._open & speech.any(axis=0) & (m.start_s - self._last_s > PAUSE_S)
        self._open &= ~old
        self._filled_s[old] = 0.0
        return old

    def add(self, speech: Flags, m: Measurement) -> NDArray[np.int64]:
        """Count one tick's speech, shape (hops, pairs); the pairs whose part is full now."""
        if not any_of(speech):
            return _NO_PAIRS
        some = speech.any(axis=0)
        first_s = m.start_s + m.hop_s * speech.argmax(axis=0)
        begins = some & ~self._open
        again = begins | (some & (m.start_s - self._last_s > BREAK_S))
        self._again_s = np.where(again, first_s, self._again_s)
        self._before = np.where(begins, 0.0, self._before + again * self._since)
        self._since = np.where(again, 0.0, self._since)
        self._since += (self._pairs.energy(m) * speech).sum(axis=0)
        self.begin_s = np.where(self._since > self._before, self._again_s, self.begin_s)
        self._open |= some
        self._last_s = np.where(some, m.end_s, self._last_s)
        self._filled_s += m.hop_s * count_of(speech, axis=0)
        full = self._filled_s >= PART_S - 1e-9
        self._filled_s[full] -= PART_S
        self._open &= ~full
        return indices(full)


class Pairs:
    """The pairs in which both packs are watched; `main` and `safety` are their track indices."""

    def __init__(self, scene: Scene, fault: Fault) -> None:
        watched = scene.watched(fault)
        pairs = [pair for pair in scene.pairs() if watched[list(pair)].all()]
        self.main: NDArray[np.int64] = np.array([a for a, _ in pairs], dtype=np.int64)
        self.safety: NDArray[np.int64] = np.array([b for _, b in pairs], dtype=np.int64)
        lavs = scene.kinds(Kind.LAV)
        whos = [t.who for t in scene.tracks]
        self._rivals = np.array([[w != whos[a] for w in whos] & lavs for a, _ in pairs])

    def moved(self, before: Pairs, remap: TrackRemap) -> TrackRemap:
        """Where each pair was before; -1 where one of its packs begins anew."""
        now = remap.new
        packs = zip(before.main.tolist(), before.safety.tolist(), strict=True)
        was = [(now.get(main, -1), now.get(safety, -1)) for main, safety in packs]
        return TrackRemap.of(was, list(zip(self.main.tolist(), self.safety.tolist(), strict=True)))

    def __len__(self) -> int:
        return len(self.main)

    def speech(self, block: TickBlock) -> Flags:
        """Hops with speech on either pack, shape (ticks, hops, pairs).

        None where the place is not heard on both, or either is overloaded (then one of the two is
        in another fault), or where another performer is much louder: their voice, not this one's.
        None either where a buffer is played again: it is no voice.
        """
        field = block.field
        sound = field("valid") & (field("peak") < OVERLOAD) & field("present")[:, np.newaxis]
        for tick, m in enumerate(block.ticks):
            for repeat in m.repeats:
                sound[tick, :, repeat.track_index] = False
        speech = field("speech")[:, :, self.main] | field("speech")[:, :, self.safety]
        speech &= sound[:, :, self.main] & sound[:, :, self.safety]
        if any_of(speech):
            speech &= ~self._spill(block)[:, np.newaxis]
        return np.asarray(speech)

    def energy(self, m: Measurement) -> Levels:
        """Of each hop, as the main hears it or, if it does not, the safety; shape (hops, pairs)."""
        power = m.mean_square
        return np.maximum(power[:, self.main], SAFETY_GAIN * power[:, self.safety])

    def _spill(self, block: TickBlock) -> Flags:
        """Where a tick's voice is not clearly this performer's own, shape (ticks, pairs)."""
        energy = block.field("mean_square").mean(axis=1)
        theirs = np.where(self._rivals, energy[:, np.newaxis], 0.0).max(axis=2, initial=0.0)
        mine = np.maximum(energy[:, self.main], SAFETY_GAIN * energy[:, self.safety])
        # Over its own floor a voice is as loud whatever the gains: all packs hear one place.
        over = energy / mean_square_at(block.field("floor_dbfs"))
        rival = np.where(np.isnan(over), 0.0, over)[:, np.newaxis]
        others = np.where(self._rivals, rival, 0.0).max(axis=2, initial=0.0)
        own = np.fmax(over[:, self.main], over[:, self.safety])
        return np.asarray((theirs > RIVAL * mine) | (own < OWN * others))
