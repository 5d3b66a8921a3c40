"""Noise: the noise floor of one track rose and stays, bright and steady, and masks the voice.

Model: a link that runs out of range, or whose squelch stays open on another transmitter, adds the
receiver's own noise under everything, level or rising up to the top of the band, while places,
wind, traffic and crowds fall with frequency, cloth comes and goes with the movement, and a howl has
one line. So in the quiet moments of the last seconds (a low order statistic, as in R. Martin's
minimum statistics, see `measure.floor`) the treble lies well over the learned one and is as loud as
all of the place, and they are as bright as noise. A rise that other open tracks share is the place,
as rain is, which each hears by its gain; what gains say of it else is in `noise_gains`. Numbers:
common practice, no source, but where they say otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet, unknown
from engine.detectors.noise_company import is_place, rose_alike, rose_with_pair
from engine.detectors.noise_gains import PairGains, TurnedGain, is_behind_gains
from engine.detectors.noise_shape import QUIET_SHARE, is_steady, is_tone
from engine.measure.floor import MARGIN_DB
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import any_of, count_of, indices
from engine.model.messages import (
    Condition,
    Fault,
    Flags,
    Kind,
    Levels,
    Measurement,
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
EVERY_TICKS: Final = 5
STEP_DB: Final = 0.0625
"""Most by which learned treble moves from one judgement to the next, as slowly as a learned floor
(`measure.floor`)."""
BEGIN_TICKS: Final = 300
"""It may have been learned from talk: in the first half minute it falls at once."""
BEGIN_DB: Final = 20.0
"""A rise is dated from where its treble came this near to what it is by now: a tenth of the way of
one that is linear in pressure."""
DOUBTED_S: Final = 5.0
"""Until then, when it is told (CONTRACT.md), the voice may still show that a gain was turned."""
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
    _gains: TurnedGain = remembered(By.PART, lambda d: TurnedGain(d._tracks))
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
        pairs = np.array(scene.pairs(), dtype=np.int64).reshape(-1, 2)
        self._mains, self._safeties = pairs.T
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
        turned = (m.gain_step_db != 0.0) & ~self._active
        if any_of(turned):
            self._treble_dbfs = self._treble_dbfs + m.gain_step_db * turned
            self._floor_dbfs = self._floor_dbfs + m.gain_step_db * turned
            self._gains.forget(turned)
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
        speech = m.speech & m.valid
        if not any_of(speech):
            self._gains.hear(self._tick, 0.0, None)
            return
        power, hops = (m.mean_square * speech).sum(axis=0), count_of(speech, axis=0)
        self._gains.hear(self._tick, power, hops)
        some = (hops > 0) & ~self._active
        fade = np.where(some, SPEECH_FADE, 1.0)
        self._speech = self._speech * fade + power * some
        self._speech_hops = self._speech_hops * fade + hops * some

    def _speech_dbfs(self) -> Levels:
        with np.errstate(invalid="ignore"):
            voice_dbfs = rms_dbfs(self._speech / self._speech_hops)
        return np.where(self._speech_hops == 0.0, self._unheard_dbfs, voice_dbfs)

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
        if any_of(risen):
            pairs = self._shared_pairs(shares, treble, added)
            if not is_behind_gains(shares, treble_dbfs, self._treble_dbfs, pairs):
                even = self._even(shares, newest)
                alike = rose_alike(shares, even, rose_db, self._active, within_db=self._rise_db)
                risen &= ~is_place(alike, self._open)
                risen &= self._active | ~rose_with_pair(alike, pairs)
        risen &= ~self._turned(m, risen, power, treble_dbfs)
        risen &= self._active | self._even(risen & ~self._active, newest)
        for track_index in indices(risen):
            risen[track_index] = not is_tone(m.samples[:, track_index])
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

    def _shared_pairs(self, shares: Flags, treble: Levels, added: Levels) -> PairGains:
        """The pairs of which both packs rose; by what was added, where the rest is known."""
        both = shares[self._mains] & shares[self._safeties]
        main, safety = self._mains[both], self._safeties[both]
        rise_dbfs = rms_dbfs(np.where(np.isnan(added), treble, added))
        voice_db = self._gains.voice_db(self._tick, DATED_TICKS, main, safety)
        return PairGains(main, safety, rise_dbfs[main] - rise_dbfs[safety], voice_db)

    def _even(self, asked: Flags, newest: NDArray[np.int64]) -> Flags:
        """Which of those asked about rose as evenly as hiss."""
        even = asked.copy()
        middle = self._middle[(self._tick - 1 - np.arange(TICKS)) % TICKS]
        for track_index in indices(asked):
            treble = self._treble[newest, track_index]
            even[track_index] = is_steady(treble, middle[:, track_index])
        return even

    def _turned(self, m: Measurement, risen: Flags, power: Levels, treble_dbfs: Levels) -> Flags:
        """Where the voice says that a gain was turned; it is learned anew there in a while."""
        turned: list[int] = []
        for track_index in indices(risen & ~(m.end_s - self._onset_s >= DOUBTED_S)).tolist():
            lasts = round((m.end_s - self._since_s(track_index, m)) / (m.end_s - m.start_s))
            rose_db = float(treble_dbfs[track_index] - self._treble_dbfs[track_index])
            quiet = float(power[track_index])
            if self._gains.is_turned(track_index, self._tick, lasts, quiet, rose_db):
                turned.append(track_index)
        self._onset_s[turned] = np.nan
        sure = self._gains.sure(turned)
        if any_of(sure):
            self._treble_dbfs = np.where(sure, treble_dbfs, self._treble_dbfs)
            self._floor_dbfs = np.where(sure, rms_dbfs(power), self._floor_dbfs)
            self._gains.forget(sure)
        where = np.zeros(self._tracks, dtype=np.bool_)
        where[turned] = True
        return where

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
