"""Muted: digital zero, a frozen value, or nothing but the noise of a converter.

Model: an open analogue input always hisses, so exact zeros or a value that never moves can only
come from a receiver that mutes, a link or patch that is gone; under -110 dBFS only a converter's
own last bit is left (CONTRACT.md). A receiver that mutes behind an analogue output leaves the noise
of that output and of the converter after it, or its dither (at 16 bits -93 dBFS: triangular dither
and rounding together have a quarter of a step squared, S. P. Lipshitz, R. A. Wannamaker and J.
Vanderkooy, JAES 40(5), 1992): white, steady, and lower than any microphone's place ever lies.
Common practice, no source for the other levels.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import Runs, TickContext, condition, quiet, unknown
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Condition, Fault, Flags, Kind, Levels, Measurement, Samples
from engine.model.number_text import true_minus
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import IDLE_DBFS, IDLE_MEAN_SQUARE, amplitude, mean_square_at, rms_dbfs

_IDLE_AMPLITUDE: Final = float(amplitude(IDLE_DBFS))
_LSB_16: Final = 1.0 / 32768.0


class Muted(TrackMemory):
    """Runs of hops on which nothing moves; edges to the sample."""

    NEEDS_SAMPLES: ClassVar = True

    _runs: Runs = remembered(By.PART, lambda d: Runs(d._tracks))
    _noise_since_s: Levels = per_track(np.nan)
    _noise_last_s: Levels = per_track(np.nan)
    _lowest_dbfs: Levels = per_track(np.nan)
    _highest_dbfs: Levels = per_track(np.nan)
    _level_dbfs: Levels = per_track(-np.inf)
    _before: Samples = per_track(np.inf, rows=1, dtype=np.float32)

    def __init__(
        self,
        scene: Scene,
        *,
        converter_dbfs: float = -87.0,
        white: float = 1.2,
        fall_db: float = 8.0,
        steady_db: float = 0.7,
        known_s: float = 0.4,
        like_idle_db: float = 1.5,
        idle_below_dbfs: float = -70.0,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        converter_dbfs : float
            dBFS. White noise under this is a converter's: floors of healthy mics lie over -80.
        white : float
            Least energy of the steps from sample to sample against that of the samples: white noise
            has 2 (arithmetic), places under 0.1.
        fall_db : float
            dB. It lies this far under the learned floor; a track that has none yet is not judged.
        steady_db, known_s : float
            dB, s. Its level over 100 ms stays within this, for this long at least, until it is
            told (of 1600 Gaussian samples the level has a deviation of 0.15 dB: arithmetic).
        like_idle_db, idle_below_dbfs : float
            dB, dBFS. So is noise at most this much louder than that of the unused inputs, where
            these are quieter than that.
        """
        self._converter_dbfs, self._white, self._fall_db = converter_dbfs, white, fall_db
        self._like_idle_db, self._idle_below_dbfs = like_idle_db, idle_below_dbfs
        self._steady_db, self._known_s = steady_db, known_s
        highest_dbfs = max(converter_dbfs, idle_below_dbfs + like_idle_db)
        self._highest_limit = float(mean_square_at(highest_dbfs))
        self._unused = scene.kinds(Kind.UNUSED)
        self._watched = scene.watched(Fault.MUTED)
        self._rate_hz = scene.sample_rate_hz
        self._tracks = len(scene.tracks)
        self._ahead = Ahead(self._foresee)
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Look for idle hops in those ticks at once."""
        self._ahead.look(block)

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active where at least one hop of the tick did not move."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        idle, may_be_noise = self._ahead.of(m)
        runs, known = self._runs, m.any_valid & self._watched
        runs.update(idle & self._watched, m.valid, m.start_s, m.hop_s)
        noise = self._converter_noise(m, may_be_noise) & ~runs.active & self._watched
        before, self._before = self._before, m.samples[-(len(m.samples) // len(m.valid)) :]
        if not m.all_valid:
            self._before = np.where(m.valid[-1], self._before, np.float32(np.inf))
        active = runs.active | noise
        if not any_of(active):
            return quiet(known)
        last_s = runs.last_s.copy()
        for track_index in indices(runs.active):
            last_s[track_index] = self._exact(int(track_index), before, m)
        onset_s = np.where(noise, self._noise_since_s, runs.onset_s)
        last_s = np.where(noise, self._noise_last_s, last_s)
        self._level_dbfs = np.where(runs.active, -np.inf, self._level_dbfs)
        return condition(active, known, onset_s, last_s)

    def _foresee(self, block: TickBlock) -> Iterator[tuple[Flags, bool]]:
        """Idle hops of each tick, and whether any watched track is low enough for a converter."""
        quietest = block.field("mean_square").min(axis=1)
        low = ((quietest < self._highest_limit) & self._watched).any(axis=1)
        return zip(idle_hops(block), low.tolist(), strict=True)

    def _converter_noise(self, m: Measurement, may_be: bool) -> Flags:
        """Tracks on which nothing but steady white noise is left, as low as no mic's, by now."""
        if not may_be:
            self._noise_since_s[:] = np.nan
            return np.zeros(self._tracks, dtype=np.bool_)
        low = m.mean_square < mean_square_at(self._noise_limit_dbfs(m))
        if not any_of(low):
            self._noise_since_s[:] = np.nan
            return np.zeros(self._tracks, dtype=np.bool_)
        low &= (m.difference_energy >= self._white * m.mean_square) & m.valid
        number = np.count_nonzero(low, axis=0)
        power = (m.mean_square * low).sum(axis=0) / np.maximum(number, 1)
        first_s = m.start_s + m.hop_s * low.argmax(axis=0)
        last_s = m.start_s + m.hop_s * (len(low) - low[::-1].argmax(axis=0))
        begins = (number > 0) & np.isnan(self._noise_since_s)
        self._noise_since_s = np.where(begins, first_s, self._noise_since_s)
        level_dbfs = rms_dbfs(power)
        self._lowest_dbfs = np.where(begins, level_dbfs, np.minimum(self._lowest_dbfs, level_dbfs))
        self._highest_dbfs = np.where(
            begins, level_dbfs, np.maximum(self._highest_dbfs, level_dbfs)
        )
        whole = (number == len(low)) | begins
        steady = self._highest_dbfs - self._lowest_dbfs <= self._steady_db
        goes_on = (number > 0) & steady
        known = goes_on & (last_s - self._noise_since_s >= self._known_s)
        self._noise_last_s = np.where(known, last_s, self._noise_last_s)
        self._level_dbfs = np.where(known & whole, level_dbfs, self._level_dbfs)
        # What breaks off or moves begins anew.
        self._noise_since_s = np.where(whole & steady, self._noise_since_s, np.nan)
        return np.asarray(known)

    def _noise_limit_dbfs(self, m: Measurement) -> Levels:
        """Under which white noise is a converter's, shape (tracks,); -inf where none is learned."""
        limit_dbfs = self._converter_dbfs
        if any_of(self._unused):
            idle_dbfs = float(np.nan_to_num(np.median(m.level_dbfs[self._unused]), nan=0.0))
            if idle_dbfs < self._idle_below_dbfs:
                limit_dbfs = max(limit_dbfs, idle_dbfs + self._like_idle_db)
        under_dbfs = np.fmin(m.floor_dbfs - self._fall_db, limit_dbfs)
        return np.where(np.isnan(m.floor_dbfs), -np.inf, under_dbfs)

    def _exact(self, track_index: int, before: Samples, m: Measurement) -> float:
        """Put the run's onset, where it lies in this tick, to the sample; returns its end so."""
        runs, hop_frames = self._runs, len(m.samples) // len(m.valid)
        valid = np.repeat(m.valid[:, track_index], hop_frames)
        here = np.where(valid, m.samples[:, track_index], np.float32(np.inf))
        x = np.concatenate([before[:, track_index], here])
        lead = len(x) - len(here)
        begin = lead + round((runs.onset_s[track_index] - m.start_s) * self._rate_hz)
        end = lead + round((runs.last_s[track_index] - m.start_s) * self._rate_hz)
        if lead <= begin < len(x):
            still = _still(x[max(begin - hop_frames, 0) : begin][::-1], x[begin])
            runs.began(track_index, float(runs.onset_s[track_index]) - still / self._rate_hz)
        if not lead <= end < len(x):
            return float(runs.last_s[track_index])
        still = _still(x[end : end + hop_frames], x[end - 1])
        return float(runs.last_s[track_index]) + still / self._rate_hz

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        level_dbfs = self._level_dbfs[track_index]
        if level_dbfs > IDLE_DBFS:
            return true_minus(f"only a converter's noise at {level_dbfs:.0f} dBFS")
        return "digital zero or a frozen value: no signal arrives at all"


def idle_hops(block: TickBlock) -> Flags:
    """Where nothing but an idle converter is left, shape (ticks, hops, tracks).

    Idle is: one value all through, a swing inside one least significant bit around it, an AES17
    RMS under -110 dBFS, or in 16-bit material two neighbouring codes only.
    """
    swing = block.field("peak_max") - block.field("peak_min")
    idle = (swing <= 2.0 * _IDLE_AMPLITUDE) | (block.field("mean_square") < IDLE_MEAN_SQUARE)
    maybe = ~idle & (swing <= 1.01 * _LSB_16)
    if any_of(maybe):
        tick, hop, track_index = np.nonzero(maybe)
        sound = block.sound
        by_hop = sound.reshape(*sound.shape[:2], swing.shape[1], -1)
        codes = by_hop[tick, track_index, hop] * 32768.0
        idle[tick, hop, track_index] = (codes == np.round(codes)).all(axis=1)
    return np.asarray(idle)


def _still(samples: NDArray[np.float32], value: np.float32) -> int:
    """How many of the first samples stay within an idle converter's swing of that value."""
    if not np.isfinite(value):
        return 0
    moved = np.abs(samples - value) > _IDLE_AMPLITUDE
    return int(np.argmax(moved)) if any_of(moved) else len(samples)
