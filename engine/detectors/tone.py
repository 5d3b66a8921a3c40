"""Tone: one steady frequency stands in a track for seconds: a howl, or a line-up tone.

Model: feedback settles on the one frequency at which the loop's gain is highest, and a line-up tone
is a sine; both keep frequency and level for seconds, whatever is said over them. A line is what
stands out of its neighbours in a Hann-windowed spectrum of 100 ms (main lobe of four bins: F. J.
Harris, Proc. IEEE 66(1), 51-83, 1978); one that is found at the same place in most looks of four
seconds, as the tracks of partials are linked (R. McAulay and T. Quatieri, IEEE Trans. ASSP 34(4),
744-754, 1986), is a tone where no other line but its multiples stands with it. Voices glide, notes
end, come in chords, or have an octave above their lowest line, bells ring on several lines and each
stroke falls. A howl that drives a loudspeaker into its limits has odd multiples, for those limits
are alike on both sides; even ones stay weak, as do all of a line-up tone. The whine of a machine
lies in the noise that it makes, so that no moment is nearly as quiet as the line. Under 160 Hz, the
sixteenth bin, a line has no neighbours on one side: that is the mains' ground, `hum`.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from itertools import pairwise
from typing import ClassVar, Final

import numpy as np

from engine.detectors.base import TickContext, condition, quiet, unknown
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Condition, Fault, Flags, Kind, Levels, Measurement, Samples
from engine.model.number_text import true_minus
from engine.model.track_memory import TrackMemory, each_track, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import mean_square_at, rms_dbfs

LOOK_TICKS: Final = 5
"""Ticks from one look to the next."""
LOOKS: Final = 8
KEPT: Final = 2 * LOOKS
"""Looks that are remembered, so that a howl is dated from where it began to grow."""
TICKS: Final = (KEPT + 1) * LOOK_TICKS
LOBE_BINS: Final = 3
"""Bins on each side of a line that hold its power under a Hann window."""
BESIDE_BINS: Final = 16
"""Neighbours that it is held against, to each side."""
_EVEN: Final = np.array([2.0, 4.0, 6.0])
HIGHEST_HZ: Final = 16_000.0
"""Few adults hear more (common practice, no source)."""


@dataclass(frozen=True, slots=True, eq=False)
class _Look:
    """Lines of one tick, the how manieth and when it began: frequency and level of each."""

    tick: int
    start_s: float
    hz: Levels
    level_dbfs: Levels


@dataclass(slots=True)
class _Lines:
    """The newest looks at one track."""

    looks: deque[_Look] = field(default_factory=lambda: deque(maxlen=KEPT))


class Tone(TrackMemory):
    """Looks at the spectrum twice a second, where the track is as loud as a tone."""

    NEEDS_SAMPLES: ClassVar = True

    _lines: list[_Lines] = each_track(_Lines)
    _quiet_dbfs: Levels = per_track(-np.inf, rows=TICKS)
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
        least_dbfs: float = -50.0,
        contrast: float = 10.0,
        steady_db: float = 2.0,
        decay_db: float = 0.2,
        same: float = 0.003,
        looks: int = 6,
        alone_db: float = 15.0,
        octave_db: float = 20.0,
        company_db: float = 10.0,
        drowned_db: float = 6.0,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        least_dbfs : float
            dBFS. A fainter tone spoils nothing (ours).
        contrast : float
            A line has at least this many times the mean power beside it (10 dB): of noise one bin
            in 22000 does (exponential distribution).
        steady_db : float
            dB. Its level stays this near to the newest one.
        decay_db : float
            dB. A line that falls by more than this from look to look, in the median, rings away: a
            minute and a half for 60 dB and more is a bell of tons (ours).
        same : float
            Relative. Two looks found one line within this.
        looks : int
            Of the newest 8, half a second apart, so many must show it, the newest one too.
        alone_db : float
            dB. Other lines that stand with it, but for its multiples, are fainter by this: else it
            is a chord, or hum.
        octave_db : float
            dB. Its even multiples are fainter by this: else it is a note. Loudspeakers at their
            limits make second harmonics of up to a tenth (common practice, no source).
        company_db : float
            dB. Other lines that come and go are fainter by this in half of the looks.
        drowned_db : float
            dB. Where the quietest moment since it stands is louder than the line by this, the line
            is a part of that noise, and makes nothing worse (ours).
        """
        self._least_dbfs, self._contrast, self._steady_db = least_dbfs, contrast, steady_db
        self._same, self._looks = same, looks
        self._decay_db = decay_db
        self._alone_db, self._octave_db, self._drowned_db = alone_db, octave_db, drowned_db
        self._company_db = company_db
        self._least_power = float(mean_square_at(least_dbfs))
        self._watched = scene.watched(Fault.TONE)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._rate_hz = scene.sample_rate_hz
        self._window: Samples = np.zeros(0, dtype=np.float32)
        self._tracks = len(scene.tracks)
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active while one line stands."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        self._quiet_dbfs[self._tick % TICKS] = rms_dbfs(m.mean_square.min(axis=0))
        self._tick += 1
        stuck = [repeat.track_index for repeat in m.repeats]
        self._seen_s[stuck] = -np.inf  # a buffer that is played again has lines of its own
        if self._tick % LOOK_TICKS == 0:
            loud = m.mean_square.mean(axis=0) >= self._least_power
            loud &= self._watched & m.valid.all(axis=0)
            loud[stuck] = False
            for track_index in indices(~loud).tolist():
                self._lines[track_index].looks.clear()
            tracks = indices(loud)
            if len(tracks):
                found = self._found(m.samples.T[tracks])
                for track_index, lines in zip(tracks.tolist(), found, strict=True):
                    self._look(track_index, *lines, m)
        tick_s = m.end_s - m.start_s
        # Words may cover it for as many looks as it may be missing from.
        covered_ticks = (LOOKS - self._looks + 1) * LOOK_TICKS + 1
        running = m.end_s - self._seen_s <= covered_ticks * tick_s
        self._active = running
        known = m.any_valid & self._watched
        if not any_of(running):
            return quiet(known)
        self._onset_s = np.where(running, self._since_s, self._onset_s)
        fresh = m.end_s - self._seen_s < LOOK_TICKS * tick_s
        self._last_s = np.where(running, np.where(fresh, m.end_s, self._seen_s), self._last_s)
        never = np.zeros(self._tracks, dtype=np.bool_)
        return condition(running & known, known, self._onset_s, self._last_s, never)

    def _look(self, track_index: int, hz: Levels, level_dbfs: Levels, m: Measurement) -> None:
        """Take in the lines of this tick, and see whether one has stood for long enough."""
        looks = self._lines[track_index].looks
        looks.append(_Look(self._tick, m.start_s, hz, level_dbfs))
        if len(looks) < self._looks:
            return
        standing = self._standing(looks, hz, level_dbfs, self._steady_db)
        if not standing:
            return
        best = max(standing, key=lambda n: level_dbfs[n])
        # A bell's other partials may swing while one of them keeps its level: they count as well.
        others = [
            n
            for n in self._standing(looks, hz, level_dbfs, np.inf)
            if level_dbfs[n] > level_dbfs[best] - self._alone_db
            and abs(hz[n] / hz[best] / max(1.0, np.round(hz[n] / hz[best])) - 1.0)
            > 2.0 * self._same
        ]
        if others or level_dbfs[best] < self._least_dbfs:
            return
        if self._is_note(looks, hz[best]) or self._has_company(looks, hz[best]):
            return
        if self._decays(looks, hz[best]) or self._is_drowned(track_index, level_dbfs[best]):
            return
        if self._is_interrupted(track_index, level_dbfs[best]):
            return
        if not self._active[track_index] or not self._near(hz[best], self._hz[track_index]):
            first = self._began_s(track_index, looks, hz[best], m.end_s - m.start_s)
            self._since_s[track_index] = first
        self._hz[track_index], self._level_dbfs[track_index] = hz[best], level_dbfs[best]
        self._seen_s[track_index] = m.end_s

    def _found(self, x: Samples) -> list[tuple[Levels, Levels]]:
        """Frequency and AES17 level of each line of each row, arrays of shape (lines,)."""
        rows, size = x.shape
        if len(self._window) != size:
            window = np.hanning(size + 2)[1:-1]
            self._window = (2.0 * window / window.sum()).astype(np.float32)
        spectrum = np.fft.rfft(x * self._window)
        spectrum = spectrum[:, : round(HIGHEST_HZ * size / self._rate_hz)].astype(np.complex128)
        power = spectrum.real**2 + spectrum.imag**2
        bins = power.shape[1]
        total = np.zeros((rows, bins + 1))
        np.cumsum(power, axis=1, out=total[:, 1:])
        first, end = BESIDE_BINS, bins - BESIDE_BINS - 1
        wide = total[:, first + BESIDE_BINS + 1 : bins] - total[:, : end - BESIDE_BINS]
        lobe = total[:, first + LOBE_BINS + 1 : end + LOBE_BINS + 1]
        lobe = lobe - total[:, first - LOBE_BINS : end - LOBE_BINS]
        beside = (wide - lobe) / (2.0 * (BESIDE_BINS - LOBE_BINS))
        here = power[:, first:end]
        line = (here > self._contrast * beside) & (here > 1e-14)
        line &= here >= power[:, first - 1 : end - 1]
        line &= here > power[:, first + 1 : end + 1]
        row, at = np.nonzero(line)
        low, middle, high = (np.sqrt(power[row, first + at + n]) for n in (-1, 0, 1))
        # Of a Hann window, exact for a sine: the ratio of the two highest bins.
        most, sign = np.maximum(low, high), np.where(high >= low, 1.0, -1.0)
        places = first + at + sign * (2.0 * most - middle) / (most + middle)
        hz = places * self._rate_hz / size
        # The lobe holds 1.5 times the line's own power (the window's noise bandwidth).
        level_dbfs = 10.0 * np.log10(lobe[row, at] / 1.5)
        ends = np.searchsorted(row, np.arange(1, rows))
        return list(zip(np.split(hz, ends), np.split(level_dbfs, ends), strict=True))

    def _near(self, one_hz: float, other_hz: float) -> bool:
        return bool(abs(one_hz / other_hz - 1.0) <= self._same)

    def _is_note(self, looks: deque[_Look], hz: float) -> bool:
        """In half of the newest looks that show the line, one of its even multiples is there."""
        shown, with_even = 0, np.zeros(len(_EVEN), dtype=np.int64)
        for look in list(looks)[-LOOKS:]:
            ratio = look.hz / hz
            line_dbfs = look.level_dbfs[np.abs(ratio - 1.0) <= self._same]
            if len(line_dbfs):
                loud = look.level_dbfs > line_dbfs.max() - self._octave_db
                near = np.abs(ratio / _EVEN[:, None] - 1.0) <= 2.0 * self._same
                shown += 1
                with_even += (near & loud).any(axis=1)
        return bool(2 * with_even.max() >= shown)

    def _has_company(self, looks: deque[_Look], hz: float) -> bool:
        """In most looks one or another line that is no multiple of it: music, or several bells.
        Somebody who talks over a howl pauses, or is fainter."""
        count = 0
        for look in list(looks)[-LOOKS:]:
            ratio = look.hz / hz
            line_dbfs = look.level_dbfs[np.abs(ratio - 1.0) <= 2.0 * self._same]
            if len(line_dbfs):
                whole = np.maximum(np.round(ratio), 1.0)
                strange = np.abs(ratio / whole - 1.0) > 2.0 * self._same
                count += any_of(strange & (look.level_dbfs > line_dbfs.max() - self._company_db))
        return 2 * count > LOOKS

    def _decays(self, looks: deque[_Look], hz: float) -> bool:
        """From look to look the line mostly falls, however often it is struck anew."""
        newest = [
            look.level_dbfs[np.abs(look.hz / hz - 1.0) <= self._same].max(initial=-np.inf)
            for look in list(looks)[-LOOKS:]
        ]
        steps = [b - a for a, b in pairwise(newest) if np.isfinite(a) and np.isfinite(b)]
        return bool(steps) and float(np.median(steps)) < -self._decay_db

    def _is_drowned(self, track_index: int, level_dbfs: float) -> bool:
        rows = (self._tick - 1 - np.arange((self._looks - 1) * LOOK_TICKS)) % TICKS
        return bool(self._quiet_dbfs[rows, track_index].min() > level_dbfs + self._drowned_db)

    def _is_interrupted(self, track_index: int, level_dbfs: float) -> bool:
        """In most ticks some hop is fainter than the line: a beeper, that sounds at each look."""
        rows = (self._tick - 1 - np.arange((self._looks - 1) * LOOK_TICKS)) % TICKS
        under = self._quiet_dbfs[rows, track_index] < level_dbfs - 2.0 * self._steady_db
        return bool(2 * np.count_nonzero(under) > len(rows))

    def _standing(
        self, looks: deque[_Look], hz: Levels, level_dbfs: Levels, steady_db: float
    ) -> list[int]:
        """Which of these lines were there, as loud, in most of the newest looks."""
        newest = list(looks)[-LOOKS:][::-1]
        lines = np.arange(len(hz))
        count = np.zeros(len(hz), dtype=np.int64)
        for seen, look in enumerate(newest, start=1):
            near = np.abs(look.hz / hz[lines, None] - 1.0) <= self._same
            near &= np.abs(look.level_dbfs - level_dbfs[lines, None]) <= steady_db
            count[lines] += near.any(axis=1)
            # A line that was missing too often is asked no more.
            lines = lines[count[lines] >= self._looks - (len(newest) - seen)]
            if not len(lines):
                break
        return [int(line) for line in lines]

    def _began_s(self, track_index: int, looks: deque[_Look], hz: float, tick_s: float) -> float:
        """Begin of the first look that shows it without a break, and of the ticks before that in
        which the track was never quieter than the line was then. A howl grows by as many decibels
        in each tick; it is followed back as far as it was louder than the place."""
        first, level_dbfs, growth_db, missed = looks[-1], -np.inf, 0.0, 0
        for look in reversed(looks):
            near = np.abs(look.hz / hz - 1.0) <= self._same
            missed = 0 if any_of(near) else missed + 1
            if missed > LOOKS - self._looks:
                break
            if any_of(near):
                newer_dbfs, newer = level_dbfs, first
                first, level_dbfs = look, float(look.level_dbfs[near].max())
                growth_db = (newer_dbfs - level_dbfs) / max(newer.tick - look.tick, 1)
        grows = growth_db * LOOK_TICKS > self._steady_db
        place_dbfs = self._quiet_dbfs[:, track_index].min()
        ticks = 0
        for back in range(1, LOOK_TICKS * (2 if grows else 1)):
            quiet_dbfs = self._quiet_dbfs[(first.tick - 1 - back) % TICKS, track_index]
            then_dbfs = level_dbfs - (growth_db * back if grows else 0.0)
            if quiet_dbfs < then_dbfs - self._steady_db or (grows and then_dbfs < place_dbfs):
                break
            ticks = back
        return max(first.start_s - ticks * tick_s, 0.0)

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        hz, level_dbfs = self._hz[track_index], self._level_dbfs[track_index]
        with np.errstate(invalid="ignore"):
            same = self._active & (np.abs(self._hz / hz - 1.0) <= self._same)
        number = int(np.count_nonzero(same & self._open))
        where = true_minus(f"{hz:.0f} Hz, {level_dbfs:.0f} dBFS")
        if number > 1 and number == np.count_nonzero(self._open):
            return f"line-up tone on all {number} inputs: {where}"
        return f"howl on {number} inputs: {where}" if number > 1 else f"steady tone: {where}"
