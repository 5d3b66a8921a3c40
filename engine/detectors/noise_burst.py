"""Noise burst: hash, the link's own noise breaking through.

Model: when the carrier sinks under the FM threshold while the squelch stays open, the programme
gives way to demodulated noise (`hash_shape`), which is steady while it lasts. What comes through
air is neither: blows and claps die away, wind and surf fall with frequency, a sibilant is a hill
with a lull below and above. A sound whose treble any other track hears too (their noises match at
some lag) was in the air, however faint it is there. A squelch opens at once, within milliseconds;
rain rises for seconds, and for tens of milliseconds what a limiter lets up again and the hiss of a
link in fading, which is `noise`. Numbers: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet, unknown
from engine.detectors.bright_hops import OPEN_DBFS, BrightHops, bright_hops
from engine.detectors.bursts import Burst, Event
from engine.detectors.hash_shape import (
    OPEN_HOPS,
    band_densities_db,
    best_match,
    holds_level,
    is_hash,
    is_open_squelch,
    rise_s,
    roughness,
)
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Condition, Fault, Flags, Levels, Measurement, Samples
from engine.model.number_text import number
from engine.model.track_memory import TrackMemory, each_track, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import rms_dbfs

LONGEST_RISE_S: Final = 0.005
"""A squelch takes 2 ms by `rise_s`; the hiss of a fading channel, which adds to the words, takes
over 5 in nine of ten fades at a walking pace (ours, measured)."""

HOPS: Final = 10
EDGE_HOPS: Final = 2
"""From the last hop before a burst to the first that is full of it: its edge lies in one."""
FEWEST: Final = 2
"""Hops of a burst: of fewer the spectrum is not known; `OPEN_HOPS` behind another sound."""
ROUGH_S: Final = 3.0
"""So long after what was rough nothing is said: cloth has smooth moments, and in rain drops are
rough on each mic every few seconds."""
_LONG_HOPS: Final = 10
"""A burst this long is judged before it ends."""
_HISTORY: Final = 30


@dataclass(slots=True)
class _Run:
    """Bright hops of one track in a row: since when, after what treble, their level and sound.

    first_s : since when it was bright, if something that was no hash went ahead of it
    """

    begin_s: float
    first_s: float
    before_db: float
    levels_db: list[float] = field(default_factory=list)
    trebles_db: list[float] = field(default_factory=list)
    brightness: list[float] = field(default_factory=list)
    sound: list[Samples] = field(default_factory=list)
    hash: bool | None = None


class NoiseBurst(TrackMemory):
    """Looks closer where the sound of a track turns bright from one hop to the next."""

    NEEDS_SAMPLES: ClassVar = True

    _bursts: list[Burst] = each_track(Burst)
    _runs: dict[int, _Run] = remembered(By.KEYS, lambda _: {})
    _treble_db: Levels = per_track(np.nan, rows=_HISTORY)
    _tick: int = remembered(By.WHOLE, 0)
    _heard_ticks: NDArray[np.int64] = per_track(0)
    _rough_s: Levels = per_track(-np.inf)
    _before: NDArray[np.float32] = per_track(0.0, rows=0, dtype=np.float32)
    _hops_db: Levels = per_track(np.nan, rows=2 * HOPS)

    def __init__(
        self,
        scene: Scene,
        *,
        brightness: float = 0.8,
        rise_db: float = 8.0,
        steady_db: float = 5.0,
        roughness: float = 1.6,
        shared: float = 0.3,
        around_s: float = 0.03,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        brightness : float
            Least energy of the step from sample to sample against that of the
            samples: white noise has 2, such that ends at 15 kHz 1.06, vowels 0.05,
            sibilants mostly under 1 (calculated); single hops of noise lie a quarter
            lower at times. Loud hash of an open squelch: `OPEN_BRIGHTNESS`.
        rise_db : float
            dB. Its treble lies this far above what the track's was lately.
        steady_db : float
            dB. Widest spread of level among the hops inside a burst (one of three hops may
            be edges alone): noise with the
            clicks of a link near its threshold has less in 99 of 100 (ours, measured on
            `inject.noise`).
        roughness : float
            Most that the energy over a millisecond may spread, against that of steady
            noise of the same band; a link's has 0.8 to 1.5 in 98 of 100, nylon 2 to 4, rain
            more (ours, measured on noise by `inject.noise` and on cloth and rain of the tests).
        shared : float
            Least correlation, at any lag, of the treble that two tracks heard: then
            it was in the air; two hashes have about 0.1 (ours, measured).
        around_s : float
            s. The other track hears it as much earlier or later at most: 10 m of air.
        """
        self._brightness = brightness
        self._rise_db = rise_db
        self._steady_db = steady_db
        self._roughness = roughness
        self._shared = shared
        self._around_s = around_s
        self._watched = scene.watched(Fault.NOISE_BURST)
        self._tracks = len(scene.tracks)
        self._rate_hz = scene.sample_rate_hz
        self._ahead = Ahead(self._foresee)
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Look for bright hops in those ticks at once."""
        self._ahead.look(block)

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active in the tick in which a burst ended, or goes on for longer than a moment."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        ahead = self._ahead.of(m)
        bright = self._bright(ahead)
        self._hops_db = np.concatenate([self._hops_db[HOPS:], ahead.hops_db])
        active = np.zeros(self._tracks, dtype=np.bool_)
        if bright is not None or self._runs:
            self._follow_all(active, ahead.bright if bright is None else bright, m)
        self._before = m.samples
        known = m.any_valid & self._watched
        if not any_of(active):
            return quiet(known)
        return condition(
            active,
            known,
            np.array([burst.onset_s for burst in self._bursts]),
            np.array([burst.last_s for burst in self._bursts]),
            np.array([burst.is_red(m.end_s) for burst in self._bursts]),
        )

    def _foresee(self, block: TickBlock) -> Iterator[BrightHops]:
        return bright_hops(block, self._watched, self._brightness)

    def _bright(self, ahead: BrightHops) -> Flags | None:
        """Hops that may be hash, shape (hops, tracks); None where there is none."""
        bright = None
        if ahead.some:
            bright = ahead.bright
            bright &= self._heard_ticks >= _HISTORY // 3
            usual_db = np.fmin.reduce(self._treble_db)
            bright &= ahead.hops_db >= usual_db + self._rise_db
            bright = bright if any_of(bright) else None
        self._treble_db[self._tick % _HISTORY] = ahead.middle_db
        self._tick += 1
        self._heard_ticks += 1
        return bright

    def _follow_all(self, active: Flags, bright: Flags, m: Measurement) -> None:
        """Set where there is something to say."""
        now = indices(bright.any(axis=0)).tolist()
        for track_index in sorted({*now, *self._runs}):
            active[track_index] = self._follow(track_index, bright, m)

    def _follow(self, track_index: int, bright: Flags, m: Measurement) -> bool:
        """Lengthen, close and judge the runs of one track; whether there is something to say."""
        said = False
        for hop in range(len(bright)):
            run = self._runs.get(track_index)
            at_s = m.start_s + hop * m.hop_s
            if bright[hop, track_index]:
                if run is None:
                    run = self._runs[track_index] = _Run(
                        at_s, at_s, self._treble_before(track_index, hop)
                    )
                self._lengthen(run, track_index, hop, m)
                if len(run.levels_db) == _LONG_HOPS:
                    run.hash = self._judge(run, track_index, m)
                    said |= run.hash and self._count(track_index, run, at_s + m.hop_s)
                    if not run.hash:  # a sibilant went ahead of it: what follows is judged anew
                        self._runs[track_index] = self._after(run, track_index, hop, m)
            elif run is not None:
                del self._runs[track_index]
                if run.hash:
                    said |= self._goes_on(track_index, run, at_s)
                elif run.hash is None and self._judge(run, track_index, m):
                    said |= self._count(track_index, run, at_s)
        run = self._runs.get(track_index)
        if run is not None and run.hash:
            return self._goes_on(track_index, run, m.end_s)
        return said

    def _after(self, run: _Run, track_index: int, hop: int, m: Measurement) -> _Run:
        """The run that follows one that was no hash: perhaps a sibilant that a burst cut short."""
        next_s = m.start_s + (hop + 1) * m.hop_s
        if self._jumps(run):
            return _Run(next_s, run.first_s, run.before_db)
        return _Run(next_s, run.first_s, self._treble_before(track_index, hop + 1))

    def _jumps(self, run: _Run) -> bool:
        """Whether the treble rose at the run's edge, not over some hops."""
        return run.trebles_db[EDGE_HOPS - 1] >= run.before_db + self._rise_db

    def _treble_before(self, track_index: int, hop: int) -> float:
        """Level of the treble, dB, before the edge of what begins in that hop of this tick."""
        return float(self._hops_db[HOPS + hop - EDGE_HOPS, track_index])

    def _goes_on(self, track_index: int, run: _Run, end_s: float) -> bool:
        self._bursts[track_index].goes_on(Event(run.begin_s, end_s, max(run.levels_db)))
        return True

    def _count(self, track_index: int, run: _Run, end_s: float) -> bool:
        self._bursts[track_index].add(Event(run.begin_s, end_s, max(run.levels_db)))
        return True

    def _lengthen(self, run: _Run, track_index: int, hop: int, m: Measurement) -> None:
        power = m.mean_square[hop, track_index]
        run.levels_db.append(float(rms_dbfs(power)))
        run.brightness.append(float(m.difference_energy[hop, track_index] / max(power, 1e-30)))
        run.trebles_db.append(float(self._hops_db[HOPS + hop, track_index]))
        if len(run.levels_db) <= _LONG_HOPS:
            frames = len(m.samples) // len(m.valid)
            run.sound.append(m.samples[hop * frames : (hop + 1) * frames, track_index].copy())

    def _judge(self, run: _Run, track_index: int, m: Measurement) -> bool:
        """Whether the run is steady and as bright as hash."""
        # The rest of a sibilant looks like anything where it is short.
        if len(run.levels_db) < (FEWEST if run.first_s == run.begin_s else OPEN_HOPS):
            return False
        inner = slice(1, -1) if len(run.levels_db) > 3 else slice(None)
        sound = np.array(run.sound[inner], dtype=np.float64)
        density_db = band_densities_db(sound, self._rate_hz)
        bright = min(run.brightness[inner]) >= self._brightness
        sudden = run.first_s == run.begin_s and max(run.levels_db) >= OPEN_DBFS
        open_squelch = sudden and is_open_squelch(density_db, len(sound))
        level_hash = bright and is_hash(density_db)
        if not (level_hash or open_squelch):
            return False
        if roughness(sound) > self._roughness or not (level_hash or holds_level(sound)):
            self._rough_s[track_index] = m.end_s
        levels_db = run.levels_db[inner]
        sways = len(run.levels_db) > 3 and max(levels_db) - min(levels_db) > self._steady_db
        if sways or not self._jumps(run):
            return False
        if m.end_s - self._rough_s[track_index] < ROUGH_S:
            return False
        if len(run.levels_db) < _LONG_HOPS and self._rains(m.end_s):
            return False
        x = np.diff(np.concatenate([self._before, m.samples]), axis=0)
        first = len(x) - round((m.end_s - run.begin_s) * self._rate_hz)
        if run.first_s == run.begin_s and rise_s(x[:, track_index], first, self._rate_hz) > (
            LONGEST_RISE_S
        ):
            return False
        return not self._in_air(track_index, run, x, first, m)

    def _rains(self, now_s: float) -> bool:
        """Half of the tracks, three or more, were rough lately: drops fall on every mic, and on one
        perhaps two at once."""
        number = int(np.count_nonzero(now_s - self._rough_s < ROUGH_S))
        return number >= max(3, 0.5 * np.count_nonzero(self._watched))

    def _in_air(self, track_index: int, run: _Run, x: Samples, first: int, m: Measurement) -> bool:
        """Whether any other track's treble holds the same noise, in the last two ticks.

        Only what lies round the run counts: before and after it they may share a voice.
        x, first : the steps from sample to sample, shape (frames, tracks), and where it begins.
        """
        others = indices(np.arange(self._tracks) != track_index)
        last = first + round(len(run.levels_db) * m.hop_s * self._rate_hz)
        around = round(self._around_s * self._rate_hz)
        first, begin = max(first, 0), max(first - around, 0)
        here, there = x[first:last, track_index], x[begin : last + around, others]
        if not len(here) or not len(others):
            return False
        return any_of(best_match(here, there) > self._shared)

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        burst = self._bursts[track_index]
        events = burst.lately(burst.last_s)
        loudest = number(max((e.size_db for e in events), default=0.0), digits=0)
        bursts = "1 burst" if len(events) == 1 else f"{len(events)} bursts"
        return f"{bursts} of RF noise in 10 s, up to {loudest} dBFS"
