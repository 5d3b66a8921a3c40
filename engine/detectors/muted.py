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

import math
from collections.abc import Iterator
from typing import ClassVar, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import Runs, TickContext, condition, quiet_ticks, unknown
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import any_of, any_of_each, count_of, indices
from engine.model.messages import Condition, Fault, Flags, Kind, Levels, Measurement, Samples
from engine.model.number_text import true_minus
from engine.model.percentiles import medians
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import (
    IDLE_DBFS,
    IDLE_MEAN_SQUARE,
    amplitude,
    hop_frames,
    mean_square_at,
    rms_dbfs,
)

_IDLE_AMPLITUDE: Final = float(amplitude(IDLE_DBFS))
_LSB_16: Final = 1.0 / 32768.0
_BY_CHANCE: Final = 4.0
"""Deviations by which a hop of white noise lies over its level once in 30 000 (normal
distribution): the limit is one for the level, not for each hop."""


class _Noise(NamedTuple):
    """White noise as low as a converter's in one tick; all of shape (tracks,).

    number : hops that have it; power : their mean square; first, end : the first, and past the last
    """

    number: NDArray[np.int64]
    level_dbfs: Levels
    first: NDArray[np.int64]
    end: NDArray[np.int64]


class _Foreseen(NamedTuple):
    """What was made of one tick before it is asked of.

    idle : (hops, tracks) watched, valid and idle; some_idle : there are any
    noise : None where no watched track has any; calm : what is said where nothing is muted
    """

    idle: Flags
    some_idle: bool
    noise: _Noise | None
    calm: Condition


class Muted(TrackMemory):
    """Runs of hops on which nothing moves; edges to the sample."""

    NEEDS_SAMPLES: ClassVar = True

    _runs: Runs = remembered(By.PART, lambda d: Runs(d._tracks))
    _some_noise: bool = remembered(By.WHOLE, False)
    """Whether any track has had such noise since this tick or an earlier one."""
    _noise_since_s: Levels = per_track(np.nan)
    _noise_last_s: Levels = per_track(np.nan)
    _lowest_dbfs: Levels = per_track(np.nan)
    _highest_dbfs: Levels = per_track(np.nan)
    _level_dbfs: Levels = per_track(-np.inf)
    _faint: Flags = per_track(False)
    """Something moves in it, under an idle converter's level."""
    _before: Samples = per_track(np.inf, rows=1, dtype=np.float32)

    def __init__(
        self,
        scene: Scene,
        *,
        converter_dbfs: float = -86.0,
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
            dBFS. White noise under this is a converter's: a poor one has -87 dBFS (common practice,
            no source), and single hops of it lie 0.3 dB off; floors of healthy mics are over -80.
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
        deviation = math.sqrt(2.0 / hop_frames(scene.sample_rate_hz))  # of a hop's mean square
        self._by_chance = 1.0 + _BY_CHANCE * deviation
        self._highest_limit = self._by_chance * float(mean_square_at(highest_dbfs))
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
        ahead, runs = self._ahead.of(m), self._runs
        before, self._before = self._before, m.samples[-(len(m.samples) // len(m.valid)) :]
        if not m.all_valid:
            self._before = np.where(m.valid[-1], self._before, np.float32(np.inf))
        if not ahead.some_idle and ahead.noise is None and not any_of(runs.running):
            self._no_noise()
            return ahead.calm
        runs.update(ahead.idle, m.valid, m.start_s, m.hop_s)
        noise = self._converter_noise(m, ahead.noise) & ~runs.active
        active = runs.active | noise
        if not any_of(active):
            return ahead.calm
        last_s = runs.last_s.copy()
        for track_index in indices(runs.active):
            last_s[track_index] = self._exact(int(track_index), before, m)
        onset_s = np.where(noise, self._noise_since_s, runs.onset_s)
        last_s = np.where(noise, self._noise_last_s, last_s)
        self._level_dbfs = np.where(runs.active, -np.inf, self._level_dbfs)
        moves = (m.peak_max > m.peak_min) & (m.mean_square < IDLE_MEAN_SQUARE) & m.valid
        self._faint = np.where(runs.active, moves.any(axis=0), self._faint)
        return condition(active, m.any_valid & self._watched, onset_s, last_s)

    def _foresee(self, block: TickBlock) -> Iterator[_Foreseen]:
        """Idle hops of each tick, and white noise that may be a converter's."""
        power, valid = block.field("mean_square"), block.field("valid") & self._watched
        idle = idle_hops(block) & valid
        low = (power < self._highest_limit) & valid
        noise: list[_Noise | None] = [None] * len(block.ticks)
        if any_of(low):
            low &= block.field("difference_energy") >= self._white * power
            if any_of(low):
                noise = self._noises(block, low)
        calm = quiet_ticks(block.field("any_valid") & self._watched)
        return map(_Foreseen, idle, any_of_each(idle), noise, calm)

    def _noises(self, block: TickBlock, low: Flags) -> list[_Noise | None]:
        """The white noise of each tick that lies as low as a converter's.

        low : (ticks, hops, tracks) white, and as low as a converter's ever is
        """
        power, hops = block.field("mean_square"), low.shape[1]
        limit_dbfs = self._noise_limit_dbfs(block)
        low = low & (power < self._by_chance * mean_square_at(limit_dbfs)[:, np.newaxis])
        noises: list[_Noise | None] = [None] * len(low)
        if not any_of(low):
            return noises
        number = count_of(low, axis=1)
        level_dbfs = rms_dbfs((power * low).sum(axis=1) / np.maximum(number, 1))
        number[level_dbfs >= limit_dbfs] = 0
        firsts, ends = low.argmax(axis=1), hops - low[:, ::-1].argmax(axis=1)
        for tick in indices(number.any(axis=1)).tolist():
            noises[tick] = _Noise(number[tick], level_dbfs[tick], firsts[tick], ends[tick])
        return noises

    def _no_noise(self) -> None:
        if self._some_noise:
            self._some_noise = False
            self._noise_since_s[:] = np.nan

    def _converter_noise(self, m: Measurement, noise: _Noise | None) -> Flags:
        """Tracks on which nothing but steady white noise is left, as low as no mic's, by now."""
        if noise is None:
            self._no_noise()
            return np.zeros(self._tracks, dtype=np.bool_)
        self._some_noise = True
        some, level_dbfs = noise.number > 0, noise.level_dbfs
        first_s = m.start_s + m.hop_s * noise.first
        last_s = m.start_s + m.hop_s * noise.end
        begins = some & np.isnan(self._noise_since_s)
        self._noise_since_s = np.where(begins, first_s, self._noise_since_s)
        self._lowest_dbfs = np.where(begins, level_dbfs, np.minimum(self._lowest_dbfs, level_dbfs))
        self._highest_dbfs = np.where(
            begins, level_dbfs, np.maximum(self._highest_dbfs, level_dbfs)
        )
        whole = (noise.number == len(m.valid)) | begins
        steady = self._highest_dbfs - self._lowest_dbfs <= self._steady_db
        known = some & steady & (last_s - self._noise_since_s >= self._known_s)
        self._noise_last_s = np.where(known, last_s, self._noise_last_s)
        self._level_dbfs = np.where(known & whole, level_dbfs, self._level_dbfs)
        # What breaks off or moves begins anew.
        self._noise_since_s = np.where(whole & steady, self._noise_since_s, np.nan)
        return np.asarray(known)

    def _noise_limit_dbfs(self, block: TickBlock) -> Levels:
        """Under which white noise is a converter's, shape (ticks, tracks); -inf where no floor is
        learned."""
        floor_dbfs = block.field("floor_dbfs")
        limit_dbfs: float | Levels = self._converter_dbfs
        if any_of(self._unused):
            idle_dbfs = medians(block.field("level_dbfs")[:, self._unused], axis=1)
            near_dbfs = idle_dbfs + self._like_idle_db
            is_idle = idle_dbfs < self._idle_below_dbfs
            limit_dbfs = np.where(is_idle, np.maximum(limit_dbfs, near_dbfs), limit_dbfs)
        under_dbfs = np.fmin(floor_dbfs - self._fall_db, limit_dbfs)
        return np.where(np.isnan(floor_dbfs), -np.inf, under_dbfs)

    def _exact(self, track_index: int, before: Samples, m: Measurement) -> float:
        """Put the run's onset, where it lies in this tick, to the sample; returns its end so."""
        runs, lead, hop_frames = self._runs, len(before), len(m.samples) // len(m.valid)
        begin = lead + round((runs.onset_s[track_index] - m.start_s) * self._rate_hz)
        end = lead + round((runs.last_s[track_index] - m.start_s) * self._rate_hz)
        if begin < lead and end >= lead + len(m.samples):  # neither edge lies in this tick
            return float(runs.last_s[track_index])
        valid = np.repeat(m.valid[:, track_index], hop_frames)
        here = np.where(valid, m.samples[:, track_index], np.float32(np.inf))
        x = np.concatenate([before[:, track_index], here])
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
        if self._faint[track_index]:
            return true_minus(f"under {IDLE_DBFS:.0f} dBFS: hardly any signal arrives")
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
