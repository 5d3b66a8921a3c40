"""Wind, rustle and blows on the body: what spoils speech and is no fault, with when and how loud.

Model: wind on a capsule is turbulence that falls by some 8 dB an octave from 50 Hz on (M.
Strasberg, J. Acoust. Soc. Am. 83, 544-548, 1988), so most of its power lies under the lowest voice
(85 Hz). A blow is as deep, but rises at once and is gone in a fifth of a second. Cloth that rubs is
bright noise for seconds, where a voice hisses for a tenth of one; what most other tracks hear as
well is rain or applause, not cloth. Levels and lengths: ours, measured on synthetic sound.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Flags, Kind, Levels, Measurement, PackLevel
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import DECIMATED_HZ, amplitude, rms_dbfs


class Disturbing(StrEnum):
    """What spoils the sound; the values are the words of CONTRACT.md."""

    WIND = "wind"
    RUSTLE = "rustle"
    HITS = "hits"


@dataclass(frozen=True, slots=True)
class Disturbance:
    """A stretch of one track that is spoiled, and its highest sample peak, dBFS."""

    what: Disturbing
    track_index: int
    from_s: float
    until_s: float
    peak_dbfs: float


KINDS: Final = tuple(Disturbing)
WINDOW_TICKS: Final = 30
"""Evidence is counted over the newest three seconds, of hits over the newest ten."""
HIT_TICKS: Final = 100
HALVES: Final = 12
"""Half ticks of low energy that are remembered: a blow is judged once it is gone."""
DEEP_S: Final = 1.0 / 80.0
"""A mean over this long has its first zero at 80 Hz: what it leaves lies under all voices."""
SAFETY_DB: Final = 12.0
"""A safety stands so much lower (common practice, no source)."""


class Disturbances(TrackMemory):
    """Follows all tracks with microphones; what is over is handed out once."""

    _evidence: Flags = per_track(False, rows=(len(KINDS), HIT_TICKS))
    _tick: int = remembered(By.WHOLE, 0)
    _deep: Levels = per_track(0.0, rows=HALVES)
    _tail: NDArray[np.float32] = remembered(
        By.FIRST, lambda d: np.zeros((d._tracks, d._span), dtype=np.float32)
    )
    _peaks: Levels = per_track(0.0, rows=WINDOW_TICKS)
    _from_s: Levels = per_track(np.nan, rows=len(KINDS))
    _last_s: Levels = per_track(np.nan, rows=len(KINDS))
    _peak: Levels = per_track(0.0, rows=len(KINDS))

    def __init__(
        self,
        scene: Scene,
        *,
        over_floor_db: float = 20.0,
        least_dbfs: float = -45.0,
        deep_share: float = 0.25,
        bright: float = 0.1,
        wind_ticks: int = 8,
        rustle_ticks: int = 12,
        blow_dbfs: float = -15.0,
        blow_db: float = 15.0,
        blows: int = 3,
        shared: float = 0.34,
        pause_s: float = 5.0,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        over_floor_db, least_dbfs : float
            dB, dBFS. What spoils speech lies this far over the floor, and over this.
        deep_share : float
            Least share of wind's power that a mean over 12.5 ms leaves: 0.4 at 40 Hz, 0.03 at
            100 Hz (arithmetic).
        bright : float
            Least ratio of the power of the step from sample to sample to that of the sound, at 48
            kHz: 0.07 at 2 kHz, 0.27 at 4 kHz (arithmetic).
        wind_ticks, rustle_ticks : int
            Of the newest 30, so many must show it.
        blow_dbfs : float
            dBFS. Least peak of a blow.
        blow_db : float
            dB. It rises by this within a tenth of a second.
        blows : int
            So many within 10 s are worth a mark.
        shared : float
            Share of the other tracks that may be as bright.
        pause_s : float
            s. A longer pause ends it.
        """
        self._over_floor_db = over_floor_db
        self._deep_share, self._bright = deep_share, bright
        self._needed = np.array([wind_ticks, rustle_ticks, blows])[:, None]
        self._rise = 10.0 ** (blow_db / 10.0)
        self._shared, self._pause_s = shared, pause_s
        self._tracks = len(scene.tracks)
        self._span = round(DEEP_S * DECIMATED_HZ)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        lower_db = np.array(
            [SAFETY_DB if track.level is PackLevel.SAFETY else 0.0 for track in scene.tracks]
        )
        self._least_dbfs = least_dbfs - lower_db
        self._least_peak = amplitude(blow_dbfs - lower_db)
        self.reset()

    def update(self, m: Measurement) -> list[Disturbance]:
        """Take in one tick; what is over since."""
        power = m.mean_square.mean(axis=0)
        level_dbfs = rms_dbfs(power)
        floor_dbfs = np.where(np.isnan(m.floor_dbfs), self._least_dbfs, m.floor_dbfs)
        loud = level_dbfs >= np.maximum(floor_dbfs + self._over_floor_db, self._least_dbfs)
        loud &= self._open & m.valid.all(axis=0)
        peak = m.peak.max(axis=0)
        self._peaks[self._tick % WINDOW_TICKS] = peak
        now = self._tick % HIT_TICKS
        self._tick += 1
        self._evidence[:, now] = False
        if loud.any() or not np.isnan(self._from_s).all():
            deep = self._low_energy(m)
            blow = self._blow(peak)
            wind = loud & (deep >= self._deep_share * power) & ~self._blown()
            self._evidence[:, now] = [wind, self._rustles(m, loud), blow]
            return list(self._follow(now, peak, m))
        self._low_energy(m)
        return []

    def _low_energy(self, m: Measurement) -> Levels:
        """Mean power under 80 Hz of each track; remembered of each half of the tick, too."""
        x = np.concatenate([self._tail, m.decimated], axis=1)
        self._tail = x[:, -self._span :]
        sums = np.cumsum(x, axis=1, dtype=np.float64)
        deep = np.square((sums[:, self._span :] - sums[:, : -self._span]) / self._span)
        half = deep.shape[1] // 2
        self._deep[:-2] = self._deep[2:]
        self._deep[-2:] = deep[:, :half].mean(axis=1), deep[:, half:].mean(axis=1)
        return np.asarray(deep.mean(axis=1))

    def _blow(self, peak: Levels) -> Flags:
        """A blow some time ago: deep, at once, and gone since."""
        near = np.max(self._peaks, axis=0) >= self._least_peak
        found = np.zeros(self._tracks, dtype=np.bool_)
        for at in (HALVES - 7, HALVES - 6):
            here = self._deep[at]
            rises = here >= self._rise * np.maximum(self._deep[at - 2], 1e-12)
            gone = here >= 10.0 * self._deep[at + 4 : at + 6].min(axis=0)
            found |= rises & gone & (here >= self._deep[at + 1])
            found &= here >= 0.01 * np.square(self._least_peak)
        return np.asarray(found & near & self._open & (peak >= 0.0))

    def _blown(self) -> Flags:
        """A rise as that of a blow within what is remembered: it is no wind yet."""
        rises = self._deep[2:] >= self._rise * np.maximum(self._deep[:-2], 1e-12)
        return np.asarray(rises.any(axis=0))

    def _rustles(self, m: Measurement, loud: Flags) -> Flags:
        """Bright for most of the tick, where most of the other tracks are not."""
        bright = m.difference_energy >= self._bright * m.mean_square
        rustles = loud & (bright.mean(axis=0) >= 0.6)
        others = np.count_nonzero(self._open) - 1
        if not rustles.any() or others < 1:
            return np.asarray(rustles)
        shared = (np.count_nonzero(rustles) - 1) / others
        return np.asarray(rustles & (shared <= self._shared))

    def _follow(self, now: int, peak: Levels, m: Measurement) -> Iterator[Disturbance]:
        """Begin and end stretches."""
        newest = (self._tick - 1 - np.arange(WINDOW_TICKS)) % HIT_TICKS
        counts = self._evidence[:, newest].sum(axis=1)
        counts[KINDS.index(Disturbing.HITS)] = self._evidence[-1].sum(axis=0)
        here = self._evidence[:, now]
        begins = (counts >= self._needed) & np.isnan(self._from_s)
        tick_s = m.end_s - m.start_s
        for kind, track_index in np.argwhere(begins).tolist():
            ticks = np.arange(HIT_TICKS if KINDS[kind] is Disturbing.HITS else WINDOW_TICKS)
            seen = self._evidence[kind, (self._tick - 1 - ticks) % HIT_TICKS, track_index]
            age_s = tick_s * (int(np.flatnonzero(seen)[-1]) + 1)
            self._from_s[kind, track_index] = max(m.end_s - age_s, 0.0)
            self._peak[kind, track_index] = self._peaks[:, track_index].max()
        runs = ~np.isnan(self._from_s)
        self._last_s = np.where(here | begins, m.end_s, self._last_s)
        self._peak = np.where(here & runs, np.maximum(self._peak, peak), self._peak)
        yield from self._end(runs & (m.end_s - self._last_s > self._pause_s))

    def finish(self) -> list[Disturbance]:
        """What has not ended yet."""
        return list(self._end(~np.isnan(self._from_s)))

    def _end(self, over: Flags) -> Iterator[Disturbance]:
        for kind, track_index in np.argwhere(over).tolist():
            peak_dbfs = float(20.0 * np.log10(max(self._peak[kind, track_index], 1e-6)))
            from_s = float(self._from_s[kind, track_index])
            until_s = float(self._last_s[kind, track_index])
            yield Disturbance(KINDS[kind], track_index, from_s, until_s, peak_dbfs)
        self._from_s[over] = np.nan
        self._evidence[np.broadcast_to(over[:, None], self._evidence.shape)] = False
