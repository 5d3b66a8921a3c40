"""Tone: one steady frequency stands in a track for seconds: a howl, or a line-up tone.

Model: feedback settles on the one frequency at which the loop's gain is highest, and a line-up tone
is a sine; both keep frequency and level for seconds, hold nearly all of the sound's power in one
line and lie far over the floor. Voices glide, notes end and bells decay (a decay of 0.5 dB a second
is not steady any more). The line is read from a Hann-windowed spectrum of 100 ms, whose main lobe
is four bins wide (F. J. Harris, "On the use of windows for harmonic analysis with the discrete
Fourier transform", Proc. IEEE 66(1), 51-83, 1978). Under 130 Hz lies the mains' ground: `hum`.
"""

from __future__ import annotations

from typing import ClassVar, Final

import numpy as np

from engine.detectors.base import TickContext, condition, unknown
from engine.measure.presence import LOUDEST_FLOOR_DBFS
from engine.model.messages import Condition, Fault, Flags, Kind, Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import rms_dbfs

TICKS: Final = 20
"""Ticks over which the level of the quiet moments must stand."""
LOBE_BINS: Final = 3
"""Bins on each side of a line that hold its power under a Hann window."""


class Tone(TrackMemory):
    """Looks at the spectrum twice a second, where the quiet moments of a track are as steady."""

    NEEDS_SAMPLES: ClassVar = True

    _quiet_dbfs: Levels = per_track(np.nan, rows=TICKS)
    _tick: int = remembered(By.WHOLE, 0)
    _hz: Levels = per_track(np.nan)
    _since_s: Levels = per_track(np.nan)
    _seen_s: Levels = per_track(-np.inf)
    _active: Flags = per_track(False)
    _level_dbfs: Levels = per_track(np.nan)
    _onset_s: Levels = per_track(np.nan)
    _last_s: Levels = per_track(np.nan)

    def __init__(
        self,
        scene: Scene,
        *,
        over_floor_db: float = 8.0,
        least_dbfs: float = -50.0,
        steady_db: float = 0.5,
        share: float = 0.7,
        same: float = 0.003,
        lowest_hz: float = 130.0,
        lasts_s: float = 2.5,
        gone_s: float = 1.6,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        over_floor_db, least_dbfs : float
            dB, dBFS. A tone lies this far over the floor, and above this in any case.
        steady_db : float
            dB. Most of the quiet moments of two seconds lie this near to their median.
        share : float
            Least share of the power that lies in the one line.
        same : float
            Relative. Two looks found one frequency within this.
        lowest_hz : float
            Hz. Lower lines are mains or the place.
        lasts_s : float
            s. Told after this much of it, before its alarm is due (CONTRACT.md).
        gone_s : float
            s. Words may cover it that long.
        """
        self._over_floor_db, self._least_dbfs = over_floor_db, least_dbfs
        self._steady_db, self._share, self._same = steady_db, share, same
        self._lowest_hz, self._lasts_s, self._gone_s = lowest_hz, lasts_s, gone_s
        self._watched = scene.watched(Fault.TONE)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._rate_hz = scene.sample_rate_hz
        self._tracks = len(scene.tracks)
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active while one line stands."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        quiet = m.mean_square.min(axis=0)
        self._quiet_dbfs[self._tick % TICKS] = rms_dbfs(quiet)
        self._tick += 1
        if self._tick % 5 == 0:
            for track_index in np.flatnonzero(self._steady(m)).tolist():
                self._look(track_index, m)
        running = m.end_s - self._seen_s <= self._gone_s
        self._active = running & (m.end_s - self._since_s >= self._lasts_s)
        self._onset_s = np.where(self._active, self._since_s, self._onset_s)
        self._last_s = np.where(self._active, self._seen_s, self._last_s)
        self._hz = np.where(running, self._hz, np.nan)
        known = m.any_valid & self._watched
        never = np.zeros(self._tracks, dtype=np.bool_)
        return condition(self._active & known, known, self._onset_s, self._last_s, never)

    def _steady(self, m: Measurement) -> Flags:
        """Tracks whose quiet moments are at one level, far over the floor."""
        newest = (self._tick - 1 - np.arange(TICKS // 2)) % TICKS
        quiet_dbfs = self._quiet_dbfs[newest]
        middle_dbfs = np.median(quiet_dbfs, axis=0)
        floor_dbfs = np.fmin(m.floor_dbfs, LOUDEST_FLOOR_DBFS)
        loud = middle_dbfs >= np.maximum(floor_dbfs + self._over_floor_db, self._least_dbfs)
        near = np.abs(quiet_dbfs - middle_dbfs) <= self._steady_db
        steady = np.count_nonzero(near, axis=0) >= 0.6 * len(newest)
        return np.asarray(loud & steady & self._watched & m.valid.all(axis=0))

    def _look(self, track_index: int, m: Measurement) -> None:
        """Find the line, and whether it is the one that was there before."""
        x = m.samples[:, track_index]
        power = np.square(np.abs(np.fft.rfft(x * np.hanning(len(x)))))
        at = int(power[1:-1].argmax()) + 1
        lobe = power[max(at - LOBE_BINS, 0) : at + LOBE_BINS + 1]
        hz = at * self._rate_hz / len(x)
        if lobe.sum() < self._share * power.sum() or hz < self._lowest_hz:
            return
        low, middle, high = np.sqrt(power[at - 1 : at + 2])
        # Of a Hann window, exact for a sine: the ratio of the two highest bins.
        beside, sign = (high, 1.0) if high >= low else (low, -1.0)
        hz = (at + sign * (2.0 * beside - middle) / (beside + middle)) * self._rate_hz / len(x)
        if not abs(hz / self._hz[track_index] - 1.0) <= self._same:
            self._since_s[track_index] = self._began_s(track_index, m)
        self._hz[track_index] = hz
        self._seen_s[track_index] = m.end_s
        self._level_dbfs[track_index] = float(rms_dbfs(m.mean_square[:, track_index].mean()))

    def _began_s(self, track_index: int, m: Measurement) -> float:
        """Begin of the first tick since which the quiet moments lie where they lie now."""
        rows = (self._tick - 1 - np.arange(TICKS)) % TICKS
        quiet_dbfs = self._quiet_dbfs[rows, track_index]
        under = ~(quiet_dbfs >= np.median(quiet_dbfs[:5]) - 2.0)
        ticks = int(under.argmax()) if under.any() else min(TICKS, self._tick)
        return max(m.end_s - ticks * (m.end_s - m.start_s), 0.0)

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        hz, level_dbfs = self._hz[track_index], self._level_dbfs[track_index]
        with np.errstate(invalid="ignore"):
            same = self._active & (np.abs(self._hz / hz - 1.0) <= self._same)
        number = int(np.count_nonzero(same & self._open))
        where = f"{hz:.0f} Hz, {level_dbfs:.0f} dBFS".replace("-", "\u2212")
        if number > 1 and number == np.count_nonzero(self._open):
            return f"line-up tone on all {number} inputs: {where}"
        return f"howl on {number} inputs: {where}" if number > 1 else f"steady tone: {where}"
