"""Noise: the noise floor of one track rose and stays, bright and steady, and masks the voice.

Model: a link that runs out of range, or whose squelch stays open on another transmitter, adds the
receiver's own noise under everything, level or rising up to the top of the band, while places,
wind, traffic and crowds fall with frequency, cloth comes and goes with the movement, and a howl has
one line. So in the quiet moments of the last seconds (a low order statistic, as in R. Martin's
minimum statistics, see `measure.floor`) the treble lies well over the learned one and is as loud as
all of the place, and they are as bright as noise. A rise that other open tracks share is the place,
as rain is, which each hears by its gain; what is as loud on all, however their floors differ (an
F-test of two variances), came in behind the gains. So with the packs of one performer: what differs
between them rather as their voice does than not at all was heard by both, and by others that rise
meanwhile. Numbers: common practice, no source, but where they say otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet, unknown
from engine.measure.floor import MARGIN_DB
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import (
    Condition,
    Fault,
    Flags,
    Kind,
    Levels,
    Measurement,
    Samples,
)
from engine.model.number_text import number
from engine.model.percentiles import known_median
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import IDLE_MEAN_SQUARE, mean_square_at, rms_dbfs

TICKS: Final = 35
"""Window, 3.5 s: known a second before the alarm is due (CONTRACT.md)."""
DATED_TICKS: Final = 80
"""So far back a rise is dated."""
QUIET_SHARE: Final = 0.2
"""In a quiet moment a fifth of a tick's hops are quieter still, and in the window a fifth of the
ticks."""
STEADY_DB: Final = 1.5
"""So little the middle hop of a tick lies over its quiet one, in a quarter of the ticks that hold
what rose: 0.3 dB in a link's hiss, 0.8 where it flutters; the words of others and a pack that is
put on have 1.7 to 4.9 (ours, measured)."""
EVERY_TICKS: Final = 5
STEP_DB: Final = 0.0625
"""Most by which learned treble moves from one judgement to the next, as slowly as a learned floor
(`measure.floor`)."""
BEGIN_TICKS: Final = 300
"""It may have been learned from talk: in the first half minute it falls at once."""
GAINS_DB: Final = 3.0
"""Floors that differ by this standard deviation show that gains do."""
GAINS_RATIO: Final = 2.3
"""Theirs is so many times that of the levels of what came in behind the gains: the F-test of two
variances at 1 % with nine degrees of freedom each asks for 5.35, its square."""
BEGIN_DB: Final = 20.0
"""A rise is dated from where its treble came this near to what it is by now: a tenth of the way of
one that is linear in pressure."""
SPEECH_FADE: Final = 1.0 - 1.0 / 600.0
"""Of each tick with speech on what was heard before: a mean over a minute of it."""


class Noise(TrackMemory):
    """Holds the quiet moments of the last seconds against the learned floor."""

    NEEDS_SAMPLES: ClassVar = True

    _quiet: Levels = per_track(np.nan, rows=TICKS)
    _treble: Levels = per_track(np.nan, rows=DATED_TICKS)
    _middle: Levels = per_track(np.nan, rows=TICKS)
    """Treble of the middle hop of each tick."""
    _tick: int = remembered(By.WHOLE, 0)
    _floor_dbfs: Levels = per_track(np.nan)
    """Learned floor before the rise, AES17 RMS."""
    _treble_dbfs: Levels = per_track(np.nan)
    """The same of the treble."""
    _speech: Levels = per_track(0.0)
    _speech_hops: Levels = per_track(0.0)
    _active: Flags = per_track(False)
    _level_dbfs: Levels = per_track(np.nan)
    _onset_s: Levels = per_track(np.nan)
    _last_s: Levels = per_track(np.nan)

    def __init__(
        self,
        scene: Scene,
        *,
        rise_db: float = 8.0,
        back_db: float = 3.0,
        brightness: float = 0.22,
        unheard_dbfs: float = -26.0,
        masks_db: float = 10.0,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        rise_db : float
            dB. The treble of quiet moments lies this far over the learned one (10 dB of noise, by
            CONTRACT.md, less what their statistics take off).
        back_db : float
            dB. Deadband; a rise of the treble by as much as that leaves, on half of the other open
            tracks, is the place; and a tick whose quiet moments lie as little under the noise
            holds it still.
        brightness : float
            Least energy of the steps from sample to sample against that of the samples: white noise
            has 2, such that ends at 15 kHz 1.06, level hash after 50 us 0.37, after 75 us 0.27
            (calculated); places under 0.1, applause 0.17 (measured).
        unheard_dbfs : float
            dBFS. As loud is speech where none was heard yet.
        masks_db : float
            dB. Speech that stands less than this over the noise is masked: red (CONTRACT.md).
        """
        self._rise_db, self._back_db = rise_db, back_db
        self._brightness = brightness
        self._unheard_dbfs = unheard_dbfs
        self._masks_db = masks_db
        self._watched = scene.watched(Fault.NOISE)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._tracks = len(scene.tracks)
        who = [track.who or n for n, track in enumerate(scene.tracks)]
        lav = scene.kinds(Kind.LAV)
        self._mates = np.array([[a == b for b in who] for a in who]) & lav & lav[:, np.newaxis]
        np.fill_diagonal(self._mates, val=False)
        self._ahead = Ahead(self._foresee)
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Find the quiet moments of those ticks at once."""
        self._ahead.look(block)

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active while quiet moments hold treble far over the learned, and as bright as noise."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        least, quiet_row, treble_row, middle_row = self._ahead.of(m)
        self._quiet[self._tick % TICKS] = quiet_row
        self._treble[self._tick % DATED_TICKS] = treble_row
        self._middle[self._tick % TICKS] = middle_row
        self._tick += 1
        self._hear_speech(m)
        if self._tick % EVERY_TICKS == 0:
            self._judge(m)
        if any_of(self._active):
            near = self._active & (least >= mean_square_at(self._level_dbfs - self._back_db))
            self._last_s = np.where(near, m.end_s, self._last_s)
        known = m.any_valid & self._watched
        if not any_of(self._active):
            return quiet(known)
        red = self._level_dbfs > self._speech_dbfs() - self._masks_db
        return condition(self._active & known, known, self._onset_s, self._last_s, red)

    def _foresee(self, block: TickBlock) -> Iterator[tuple[Levels, ...]]:
        """The quiet moment of each tick; that, its treble and the treble of the middle hop where
        the tick counts."""
        power, energy = block.field("mean_square"), block.field("difference_energy")
        hop = round(QUIET_SHARE * power.shape[1])
        least = np.partition(power, hop, axis=1)[:, hop]
        whole = least > IDLE_MEAN_SQUARE
        for tick, m in enumerate(block.ticks):
            if not m.all_valid:
                whole[tick] &= m.valid.all(axis=0)
            for repeat in m.repeats:  # a stuck buffer has no pauses
                whole[tick, repeat.track_index] = False
        middle = power.shape[1] // 2
        trebles = np.partition(energy, (hop, middle), axis=1)
        rows = (
            np.where(whole, one, np.nan) for one in (least, trebles[:, hop], trebles[:, middle])
        )
        return zip(least, *rows, strict=True)

    def _hear_speech(self, m: Measurement) -> None:
        """A running mean of the speech before the rise."""
        speech = m.speech & m.valid & ~self._active
        if not any_of(speech):
            return
        fade = np.where(speech.any(axis=0), SPEECH_FADE, 1.0)
        self._speech = self._speech * fade + (m.mean_square * speech).sum(axis=0)
        self._speech_hops = self._speech_hops * fade + np.count_nonzero(speech, axis=0)

    def _speech_dbfs(self) -> Levels:
        heard_dbfs = rms_dbfs(self._speech / np.maximum(self._speech_hops, 1.0))
        return np.where(self._speech_hops == 0.0, self._unheard_dbfs, heard_dbfs)

    def _judge(self, m: Measurement) -> None:
        count = round(QUIET_SHARE * TICKS)
        power = np.partition(self._quiet, count, axis=0)[count]
        newest = (self._tick - 1 - np.arange(TICKS)) % DATED_TICKS
        treble = np.partition(self._treble[newest], count, axis=0)[count]
        treble_dbfs = rms_dbfs(treble)
        rose_db = treble_dbfs - self._treble_dbfs
        added = treble - mean_square_at(self._treble_dbfs)
        with np.errstate(invalid="ignore"):
            bright = treble >= self._brightness * power
            heard = treble_dbfs >= self._floor_dbfs - self._back_db * self._active
            heard &= rose_db >= self._rise_db - self._back_db * self._active
            shares = (rose_db >= self._rise_db - self._back_db) & self._open
        risen = bright & heard & self._watched
        if any_of(risen) and not self._is_behind_gains(shares, treble_dbfs):
            risen &= ~self._is_place(shares, rose_db)
            if any_of(risen & ~self._active) and self._heard_by_pair(shares, added):
                risen &= self._active
        for track_index in indices(risen):
            steady = self._active[track_index] or self._is_steady(int(track_index))
            risen[track_index] = steady and not _is_tone(m.samples[:, track_index])
        begins = risen & ~self._active
        for track_index in indices(begins):
            self._onset_s[track_index] = self._since_s(int(track_index), m)
        self._last_s = np.where(begins, m.end_s, self._last_s)
        # Under words it is no louder than its treble allows.
        level_dbfs = rms_dbfs(np.minimum(power, treble / self._brightness))
        self._level_dbfs = np.where(risen, level_dbfs, self._level_dbfs)
        self._active = risen
        # What was learned stands still while anything is over it.
        calm = ~risen & ~np.isnan(m.floor_dbfs)
        with np.errstate(invalid="ignore"):
            over = rms_dbfs(power) >= self._floor_dbfs + self._rise_db
            calm &= ~over & ~(bright & shares)
        self._floor_dbfs = np.where(calm, m.floor_dbfs, self._floor_dbfs)
        down_db = STEP_DB if self._tick >= BEGIN_TICKS else np.inf
        step_db = np.clip(treble_dbfs - self._treble_dbfs, -down_db, STEP_DB)
        known = np.where(np.isnan(self._treble_dbfs), treble_dbfs, self._treble_dbfs + step_db)
        # A loss is no new place.
        with np.errstate(invalid="ignore"):
            calm &= rms_dbfs(power) >= self._floor_dbfs - MARGIN_DB
        self._treble_dbfs = np.where(calm & ~np.isnan(treble_dbfs), known, self._treble_dbfs)

    def _is_steady(self, track_index: int) -> bool:
        """Whether the ticks that hold no more than what rose run evenly, as hiss does."""
        newest = np.arange(self._tick - TICKS, self._tick)
        treble = self._treble[newest % DATED_TICKS, track_index]
        count = round(QUIET_SHARE * TICKS)
        ruled = np.argsort(treble)[count : 3 * count]
        middle = self._middle[newest % TICKS, track_index][ruled]
        swing_db = rms_dbfs(middle) - rms_dbfs(treble[ruled])
        return bool(np.nanquantile(swing_db, 0.25) <= STEADY_DB)

    def _is_behind_gains(self, shares: Flags, treble_dbfs: Levels) -> bool:
        """Whether what three tracks or more share is as loud on all, unlike their floors."""
        if np.count_nonzero(shares) < 3:
            return False
        spread_db = float(treble_dbfs[shares].std())
        usual_db = float(self._treble_dbfs[shares].std())
        return usual_db >= max(GAINS_DB, GAINS_RATIO * spread_db)

    def _is_place(self, shares: Flags, rose_db: Levels) -> Flags:
        """Where at least half of the other open tracks, two or more, rose as well; once noise was
        told of a track, nearly as far: talk on the others is no end of it."""
        others = np.count_nonzero(self._open) - self._open
        with np.errstate(invalid="ignore"):
            as_far = rose_db >= (rose_db - self._rise_db)[:, np.newaxis]
        alike = shares & (as_far | ~self._active[:, np.newaxis])
        number = np.count_nonzero(alike, axis=1) - shares
        return np.asarray((number >= 2) & (2 * number >= others))

    def _heard_by_pair(self, shares: Flags, added: Levels) -> bool:
        """Whether what came on top of two packs of one performer differs between them rather as the
        voice does than not at all: by a fountain both hear the water."""
        with np.errstate(invalid="ignore", divide="ignore"):
            voice_dbfs = rms_dbfs(self._speech / self._speech_hops)
            level_dbfs = rms_dbfs(added)
            voice_db = voice_dbfs[:, np.newaxis] - voice_dbfs
            level_db = level_dbfs[:, np.newaxis] - level_dbfs
            by_gain = np.abs(level_db - voice_db) < np.abs(level_db)
        return any_of(self._mates & by_gain & shares & shares[:, np.newaxis])

    def _since_s(self, track_index: int, m: Measurement) -> float:
        """Begin of the first tick of this rise, as far as it was kept."""
        rows: NDArray[np.int64] = (self._tick + np.arange(DATED_TICKS)) % DATED_TICKS
        treble = self._treble[rows, track_index]
        treble_dbfs = rms_dbfs(treble)
        full_dbfs = rms_dbfs(known_median(treble[-TICKS // 2 :]))
        least_dbfs = np.fmax(
            full_dbfs - BEGIN_DB, self._treble_dbfs[track_index] + self._rise_db - self._back_db
        )
        # Noise goes on from there but for a tick alone; words before it have a lull, in whose last
        # tick it began.
        under = ~(treble_dbfs >= least_dbfs)
        lulls = indices(under[1:] & under[:-1])
        first = int(lulls[-1]) + 1 if len(lulls) else 0
        return max(m.end_s - (DATED_TICKS - first) * (m.end_s - m.start_s), 0.0)

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        over_db = self._level_dbfs[track_index] - self._floor_dbfs[track_index]
        level = number(self._level_dbfs[track_index], digits=0)
        if over_db < self._rise_db:
            return f"hiss at {level} dBFS, brighter than the learned floor"
        return f"noise at {level} dBFS, {over_db:.0f} dB over the learned floor"


def _is_tone(sound: Samples) -> bool:
    """Whether half of the power of a tick lies in one line: a howl, and no noise."""
    step = np.diff(sound)  # words lie low
    power = np.square(np.abs(np.fft.rfft(step * np.hanning(len(step)))))
    at = int(power.argmax())
    return bool(power[max(at - 3, 0) : at + 4].sum() > 0.5 * power.sum())
