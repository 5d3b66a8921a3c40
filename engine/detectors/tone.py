"""Tone: one steady frequency stands in a track for seconds: a howl, or a line-up tone.

Model: feedback settles on the one frequency at which the loop's gain is highest, and a line-up tone
is a sine; both keep frequency and level for seconds, whatever is said over them. A line is what
stands out of its neighbours in a spectrum of 100 ms (`spectral_lines`); one that is found at the
same place in most looks of four seconds, as the tracks of partials are linked (R. McAulay and T.
Quatieri, IEEE Trans. ASSP 34(4), 744-754, 1986), is a tone where nothing beside it says what else
it is (`tone_company`). Voices glide and notes end. One loop is heard by several microphones: it is
told once, on the first that shows it. Under 160 Hz, the sixteenth bin, a line has no neighbours on
one side: that is the mains' ground, `hum`.
"""

from __future__ import annotations

from collections import deque
from typing import ClassVar, Final

import numpy as np

from engine.detectors.base import TickContext, condition, quiet, unknown
from engine.detectors.spectral_lines import SpectralLines
from engine.detectors.tone_company import (
    KEPT,
    LOOKS,
    Company,
    Look,
    Looks,
    comes_by_the_line,
)
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Condition, Fault, Flags, Kind, Levels, Measurement, Samples
from engine.model.number_text import true_minus
from engine.model.track_memory import TrackMemory, each_track, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import mean_square_at, rms_dbfs

LOOK_TICKS: Final = 5
"""Ticks from one look to the next."""
TICKS: Final = (KEPT + 1) * LOOK_TICKS
BESIDE_BINS: Final = 16
CLOSE_BESIDE_BINS: Final = 8
"""Neighbours that a line is held against, to each side: 160 Hz in a tick, 16 Hz in half a second,
where the lines of an engine lie no nearer to each other than that (2000 turns a minute)."""
ON_ALL: Final = 0.75
"""A tone on so many of the microphones' tracks is no howl: it comes by the line (CONTRACT.md)."""


class Tone(TrackMemory):
    """Looks at the spectrum twice a second, where the track is as loud as a tone."""

    NEEDS_SAMPLES: ClassVar = True

    _looks: list[Looks] = each_track(Looks)
    _sound: dict[int, list[Samples]] = remembered(By.ANEW, lambda _: {})
    """What came since the last look, of tracks on which a line may stand."""
    _quiet_dbfs: Levels = per_track(-np.inf, rows=TICKS)
    _tick: int = remembered(By.WHOLE, 0)
    _hz: Levels = per_track(np.nan)
    _since_s: Levels = per_track(np.nan)
    _seen_s: Levels = per_track(-np.inf)
    _running: Flags = per_track(False)
    _speaks: Flags = per_track(False)
    """Where a tone is told that others may have as well."""
    _by_line: Flags = per_track(False)
    """Where it is a line-up tone."""
    _level_dbfs: Levels = per_track(np.nan)
    _onset_s: Levels = per_track(np.nan)
    _last_s: Levels = per_track(np.nan)

    def __init__(
        self,
        scene: Scene,
        *,
        least_dbfs: float = -50.0,
        contrast: float = 10.0,
        looks: int = 6,
        company: Company | None = None,
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
            in 2000 does (measured).
        looks : int
            Of the newest 8, half a second apart, so many must show it, the newest one too.
        company : Company, optional
            What speaks against a howl.
        """
        self._least_dbfs, self._needed = least_dbfs, looks
        self._company = Company() if company is None else company
        self._least_power = float(mean_square_at(least_dbfs))
        self._watched = scene.watched(Fault.TONE)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._rate_hz = rate_hz = scene.sample_rate_hz
        self._short = SpectralLines(rate_hz, contrast=contrast, beside_bins=BESIDE_BINS)
        self._close = SpectralLines(rate_hz, contrast=contrast, beside_bins=CLOSE_BESIDE_BINS)
        self._tracks = len(scene.tracks)
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active while one line stands."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        self._quiet_dbfs[self._tick % TICKS] = rms_dbfs(m.mean_square.min(axis=0))
        self._tick += 1
        for track_index, sound in self._sound.items():
            sound.append(m.samples[:, track_index].copy())
        stuck = [repeat.track_index for repeat in m.repeats]
        self._seen_s[stuck] = -np.inf  # a buffer that is played again has lines of its own
        if self._tick % LOOK_TICKS == 0:
            loud = m.mean_square.mean(axis=0) >= self._least_power
            loud &= self._watched & m.valid.all(axis=0)
            loud[stuck] = False
            self._look_at(loud, m)
            self._tell_line_up(m)
        tick_s = m.end_s - m.start_s
        # Words may cover it for as many looks as it may be missing from.
        covered_ticks = (LOOKS - self._needed + 1) * LOOK_TICKS + 1
        self._running = m.end_s - self._seen_s <= covered_ticks * tick_s
        known = m.any_valid & self._watched
        if not any_of(self._running):
            self._speaks[:] = False
            return quiet(known)
        self._onset_s = np.where(self._running, self._since_s, self._onset_s)
        fresh = m.end_s - self._seen_s < LOOK_TICKS * tick_s
        last_s = np.where(fresh, m.end_s, self._seen_s)
        self._last_s = np.where(self._running, last_s, self._last_s)
        never = np.zeros(self._tracks, dtype=np.bool_)
        return condition(self._told() & known, known, self._onset_s, self._last_s, never)

    def _told(self) -> Flags:
        """Where a tone is told: of tracks that have it in common on one, unless it is on all; and
        there as long as any of them has it, for words cover it on one and then on another."""
        told = np.zeros(self._tracks, dtype=np.bool_)
        left = self._running.copy()
        loudest = np.argsort(-self._level_dbfs).tolist()
        for track_index in [*indices(self._speaks).tolist(), *loudest]:
            same = self._is_same(track_index)
            runs = same & left
            if not any_of(runs):
                continue
            left &= ~same
            here = same & self._speaks
            here[track_index] |= not any_of(here)
            if any_of(self._by_line & runs):
                here |= runs
            self._last_s[here] = self._last_s[runs].max()
            told |= here
        self._speaks = told
        return told

    def _is_same(self, track_index: int) -> Flags:
        """Which tracks have the tone of that one: within two looks' errors, half a bin each."""
        off_hz = np.abs(self._hz - self._hz[track_index])
        with np.errstate(invalid="ignore"):
            return np.asarray(off_hz <= 2.0 * self._company.same * self._hz[track_index])

    def _is_on_all(self, same: Flags) -> bool:
        number = np.count_nonzero(same & self._open)
        return bool(number > 1 and number >= ON_ALL * np.count_nonzero(self._open))

    def _tell_line_up(self, m: Measurement) -> None:
        """Of a tone that is on all, see whether it comes by the line; it does to its end."""
        fresh = self._seen_s == m.end_s
        self._by_line &= m.end_s - self._seen_s <= LOOKS * LOOK_TICKS * (m.end_s - m.start_s)
        if np.count_nonzero(fresh) < 2 or any_of(self._by_line & fresh):
            return
        same = self._is_same(int(np.argmax(np.where(fresh, self._level_dbfs, -np.inf)))) & fresh
        if self._is_on_all(same):
            at = indices(same)
            turns = float(np.median(self._hz[at])) / self._rate_hz
            sound = m.samples.T[at]
            self._by_line[at] = comes_by_the_line(sound, turns, self._level_dbfs[at])

    def _look_at(self, loud: Flags, m: Measurement) -> None:
        """Take the lines of this tick, and of the half second before its end where one stands."""
        for track_index in indices(~loud).tolist():
            self._looks[track_index].clear()
        close = {n: sound for n, sound in self._sound.items() if len(sound) == LOOK_TICKS}
        self._sound = {}
        tracks = indices(loud)
        if not len(tracks):
            return
        found = self._short.find(m.samples.T[tracks])
        for track_index, (hz, level_dbfs) in zip(tracks.tolist(), found, strict=True):
            looks = self._looks[track_index]
            looks.short.append(Look(self._tick, m.start_s, hz, level_dbfs))
            if track_index in close:
                ((near_hz, near_dbfs),) = self._close.find(np.concatenate(close[track_index])[None])
                looks.close.append(Look(self._tick, m.start_s, near_hz, near_dbfs))
            if self._may_stand(looks.short, hz, level_dbfs):
                self._sound[track_index] = []
            else:
                looks.close.clear()
            self._judge(track_index, looks, m)

    def _may_stand(self, looks: deque[Look], hz: Levels, level_dbfs: Levels) -> bool:
        """Some line has stood for long enough to be looked at closely twice before it is told."""
        steady_db, least = self._company.steady_db, self._needed - 2
        standing = self._standing(looks, hz, level_dbfs, steady_db, least)
        return any(level_dbfs[n] >= self._least_dbfs for n in standing)

    def _judge(self, track_index: int, looks: Looks, m: Measurement) -> None:
        """See whether a line has stood for long enough, and is a tone."""
        hz, level_dbfs = looks.short[-1].hz, looks.short[-1].level_dbfs
        if len(looks.close) < 2:
            return
        steady_db = self._company.steady_db
        standing = self._standing(looks.short, hz, level_dbfs, steady_db, self._needed)
        if not standing:
            return
        best = max(standing, key=lambda n: level_dbfs[n])
        # A bell's other partials may swing while one of them keeps its level: they count as well.
        beside = self._company.stands_beside(hz, level_dbfs, best)
        others = self._standing(looks.short, hz, level_dbfs, np.inf, self._needed)
        if any_of(beside[others]) or level_dbfs[best] < self._least_dbfs:
            return
        rows = (self._tick - 1 - np.arange((self._needed - 1) * LOOK_TICKS)) % TICKS
        quiet_dbfs = self._quiet_dbfs[rows, track_index]
        if not self._company.is_howl(looks, hz[best], level_dbfs[best], quiet_dbfs):
            return
        same = abs(hz[best] / self._hz[track_index] - 1.0) <= self._company.same
        if not (self._running[track_index] and same):
            first = self._began_s(track_index, looks.short, hz[best], m.end_s - m.start_s)
            self._since_s[track_index] = first
        self._hz[track_index], self._level_dbfs[track_index] = hz[best], level_dbfs[best]
        self._seen_s[track_index] = m.end_s

    def _standing(
        self,
        looks: deque[Look],
        hz: Levels,
        level_dbfs: Levels,
        steady_db: float,
        least: int,
    ) -> list[int]:
        """Which of these lines were there, as loud, in so many of the newest looks."""
        newest = list(looks)[-LOOKS:][::-1]
        lines = np.arange(len(hz))
        count = np.zeros(len(hz), dtype=np.int64)
        for seen, look in enumerate(newest, start=1):
            near = np.abs(look.hz / hz[lines, None] - 1.0) <= self._company.same
            near &= np.abs(look.level_dbfs - level_dbfs[lines, None]) <= steady_db
            count[lines] += near.any(axis=1)
            # A line that was missing too often is asked no more.
            lines = lines[count[lines] >= least - (len(newest) - seen)]
            if not len(lines):
                break
        return [int(line) for line in lines]

    def _began_s(self, track_index: int, looks: deque[Look], hz: float, tick_s: float) -> float:
        """Begin of the first look that shows it without a break, and of the ticks before that in
        which the track was never quieter than the line was then. A howl grows by as many decibels
        in each tick; it is followed back as far as it was louder than the place."""
        first, level_dbfs, growth_db, missed = looks[-1], -np.inf, 0.0, 0
        for look in reversed(looks):
            near = np.abs(look.hz / hz - 1.0) <= self._company.same
            missed = 0 if any_of(near) else missed + 1
            if missed > LOOKS - self._needed:
                break
            if any_of(near):
                newer_dbfs, newer = level_dbfs, first
                first, level_dbfs = look, float(look.level_dbfs[near].max())
                growth_db = (newer_dbfs - level_dbfs) / max(newer.tick - look.tick, 1)
        grows = growth_db * LOOK_TICKS > self._company.steady_db
        place_dbfs = self._quiet_dbfs[:, track_index].min()
        ticks = 0
        for back in range(1, LOOK_TICKS * (2 if grows else 1)):
            quiet_dbfs = self._quiet_dbfs[(first.tick - 1 - back) % TICKS, track_index]
            then_dbfs = level_dbfs - (growth_db * back if grows else 0.0)
            if quiet_dbfs < then_dbfs - self._company.steady_db or (
                grows and then_dbfs < place_dbfs
            ):
                break
            ticks = back
        return max(first.start_s - ticks * tick_s, 0.0)

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        same = self._is_same(track_index) & self._running & self._open
        number = int(np.count_nonzero(same))
        loudest = int(np.argmax(np.where(same, self._level_dbfs, -np.inf))) if number else 0
        hz = self._hz[track_index]
        level_dbfs = self._level_dbfs[loudest if number > 1 else track_index]
        where = true_minus(f"{hz:.0f} Hz, {level_dbfs:.0f} dBFS")
        every = "all " if number == np.count_nonzero(self._open) else ""
        if number > 1 and self._by_line[track_index]:
            return f"line-up tone on {every}{number} inputs: {where}"
        return f"howl on {number} inputs: {where}" if number > 1 else f"steady tone: {where}"
