"""Wind, rustle and blows on the body: what spoils speech and is no fault, with when and how loud.

Model: wind on a capsule is turbulence that falls by some 8 dB an octave from 50 Hz on (M.
Strasberg, J. Acoust. Soc. Am. 83, 544-548, 1988), so most of its power lies under the lowest voice
(85 Hz). A blow is as deep, but rises at once and is gone in a fifth of a second. Cloth that rubs is
bright noise for seconds, where a voice hisses for a tenth of one; what most other tracks hear as
well is rain or applause, not cloth. Levels and lengths: ours, measured on synthetic sound.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from engine.model.flag_arrays import any_of, count_of, indices
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
WIND, RUSTLE, HITS = range(len(KINDS))
"""Where each of them lies among `KINDS`."""
MOST_TICKS: Final = 10
"""So many are taken in together at most."""
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

    def update(self, ticks: Sequence[Measurement]) -> list[Disturbance]:
        """Take in some ticks in a row, at most `MOST_TICKS`; what is over since.

        It is the same bit for bit however many come together.
        """
        square = np.stack([m.mean_square.T for m in ticks])
        power = square.mean(axis=2)
        floor_dbfs = np.array([m.floor_dbfs for m in ticks])
        floor_dbfs = np.where(np.isnan(floor_dbfs), self._least_dbfs, floor_dbfs)
        least_dbfs = np.maximum(floor_dbfs + self._over_floor_db, self._least_dbfs)
        loud = (rms_dbfs(power) >= least_dbfs) & self._open
        if not all(m.all_valid for m in ticks):
            loud &= np.array([m.valid.all(axis=0) for m in ticks])
        peaks = np.stack([m.peak for m in ticks]).max(axis=1)
        deep, halves = self._low_energy(ticks)
        shown = np.zeros((len(KINDS), *loud.shape), dtype=np.bool_)
        if any_of(loud) or any_of(self._runs):
            shown[WIND] = loud & (deep >= self._deep_share * power) & ~self._blown(halves)
            shown[RUSTLE] = self._rustles(ticks, square, loud)
        shown[HITS] = self._blows(halves, peaks)  # gone by now, so that nothing need be loud
        return self._take_in(ticks, np.asarray(loud.any(axis=1)), shown, peaks)

    @property
    def _runs(self) -> Flags:
        """Where a stretch has begun, shape (kinds, tracks)."""
        return ~np.isnan(self._from_s)

    def _low_energy(self, ticks: Sequence[Measurement]) -> tuple[Levels, Levels]:
        """Mean power under 80 Hz, shape (ticks, tracks); and of each half of a tick, shape
        (halves, tracks), with those remembered before."""
        frames = ticks[0].decimated.shape[1]
        x = np.concatenate([self._tail, *(m.decimated for m in ticks)], axis=1)
        self._tail = x[:, -self._span :].copy()
        by_tick = sliding_window_view(x, self._span + frames, axis=1)[:, ::frames]
        sums = np.cumsum(by_tick, axis=2, dtype=np.float64)
        deep = np.square((sums[..., self._span :] - sums[..., : -self._span]) / self._span)
        halves = np.stack(
            [deep[..., : frames // 2].mean(axis=2), deep[..., frames // 2 :].mean(axis=2)], axis=2
        )
        known = np.concatenate([self._deep, halves.reshape(self._tracks, -1).T])
        self._deep = known[-HALVES:].copy()
        return np.asarray(deep.mean(axis=2).T), known

    def _blown(self, halves: Levels) -> Flags:
        """A rise as that of a blow within what is remembered: it is no wind yet."""
        rises = halves[2:] >= self._rise * np.maximum(halves[:-2], 1e-12)
        return np.asarray(sliding_window_view(rises, HALVES - 2, axis=0)[2::2].any(axis=2))

    def _blows(self, halves: Levels, peaks: Levels) -> Flags:
        """Blows some time before each tick, shape (ticks, tracks): deep, at once, gone since."""
        ticks = len(peaks)
        blows = np.zeros(peaks.shape, dtype=np.bool_)
        for at in (HALVES - 7, HALVES - 6):
            before, rise, here, next_, *gone = (
                halves[at + n : at + n + 2 * ticks : 2] for n in (0, 1, 2, 3, 6, 7)
            )
            rises = here >= self._rise * np.maximum(before, 1e-12)
            is_gone = here >= 10.0 * np.minimum(*gone)
            loud = here >= 0.01 * np.square(self._least_peak)
            blows |= rises & is_gone & loud & (here > rise) & (here >= next_)
        if any_of(blows):
            ring = np.roll(self._peaks, -(self._tick % WINDOW_TICKS), axis=0)
            lately = sliding_window_view(np.concatenate([ring, peaks]), WINDOW_TICKS, axis=0)[1:]
            blows &= (lately.max(axis=2) >= self._least_peak) & self._open
        return blows

    def _rustles(self, ticks: Sequence[Measurement], square: Levels, loud: Flags) -> Flags:
        """Bright for most of a tick, where most of the other tracks are not."""
        steps = np.stack([m.difference_energy.T for m in ticks])
        bright = count_of(steps >= self._bright * square, axis=2)
        rustles = loud & (bright / square.shape[2] >= 0.6)
        others = np.count_nonzero(self._open) - 1
        if others < 1:
            return np.asarray(rustles)
        shared = (count_of(rustles, axis=1) - 1) / others
        return np.asarray(rustles & (shared <= self._shared)[:, None])

    def _take_in(
        self, ticks: Sequence[Measurement], loud: Flags, shown: Flags, peaks: Levels
    ) -> list[Disturbance]:
        """Count what each tick has shown, and begin and end stretches by it."""
        numbers = self._tick + np.arange(len(ticks))
        if not self._may_change(shown):
            self._evidence[:, numbers % HIT_TICKS] = shown
            self._peaks[numbers % WINDOW_TICKS] = peaks
            self._tick += len(ticks)
            return []
        over: list[Disturbance] = []
        for n, m in enumerate(ticks):
            now = self._tick % HIT_TICKS
            self._peaks[self._tick % WINDOW_TICKS] = peaks[n]
            self._tick += 1
            self._evidence[:, now] = shown[:, n]
            if loud[n] or any_of(self._runs) or any_of(shown[HITS, n]):
                over += self._follow(now, peaks[n], m)
        return over

    def _may_change(self, shown: Flags) -> bool:
        """Whether a stretch runs, or could begin with what those ticks have shown."""
        if any_of(self._runs):
            return True
        if not any_of(shown):
            return False
        most = shown.sum(axis=1)
        newest = (self._tick - 1 - np.arange(WINDOW_TICKS)) % HIT_TICKS
        most[:HITS] += self._evidence[:HITS, newest].sum(axis=1)
        most[HITS] += self._evidence[HITS].sum(axis=0)
        return any_of(most >= self._needed)

    def _follow(self, now: int, peak: Levels, m: Measurement) -> Iterator[Disturbance]:
        """Begin and end stretches."""
        newest = (self._tick - 1 - np.arange(WINDOW_TICKS)) % HIT_TICKS
        counts = self._evidence[:, newest].sum(axis=1)
        counts[HITS] = self._evidence[HITS].sum(axis=0)
        here = self._evidence[:, now]
        begins = (counts >= self._needed) & ~self._runs
        tick_s = m.end_s - m.start_s
        for kind, track_index in np.argwhere(begins).tolist():
            ticks = np.arange(HIT_TICKS if kind == HITS else WINDOW_TICKS)
            seen = self._evidence[kind, (self._tick - 1 - ticks) % HIT_TICKS, track_index]
            age_s = tick_s * (int(indices(seen)[-1]) + 1)
            self._from_s[kind, track_index] = max(m.end_s - age_s, 0.0)
            self._peak[kind, track_index] = self._peaks[:, track_index].max()
        runs = self._runs
        self._last_s = np.where(here | begins, m.end_s, self._last_s)
        self._peak = np.where(here & runs, np.maximum(self._peak, peak), self._peak)
        yield from self._end(runs & (m.end_s - self._last_s > self._pause_s))

    def finish(self) -> list[Disturbance]:
        """What has not ended yet."""
        return list(self._end(self._runs))

    def _end(self, over: Flags) -> Iterator[Disturbance]:
        for kind, track_index in np.argwhere(over).tolist():
            peak_dbfs = float(20.0 * np.log10(max(self._peak[kind, track_index], 1e-6)))
            from_s = float(self._from_s[kind, track_index])
            until_s = float(self._last_s[kind, track_index])
            yield Disturbance(KINDS[kind], track_index, from_s, until_s, peak_dbfs)
        self._from_s[over] = np.nan
        self._evidence[np.broadcast_to(over[:, None], self._evidence.shape)] = False
