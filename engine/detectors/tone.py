"""Tone: one steady frequency stands in a track for seconds: a howl, or a line-up tone.

Model: feedback settles on the one frequency at which the loop's gain is highest, and a line-up tone
is a sine; both keep frequency and level for seconds, whatever is said over them. A line is what
stands out of its neighbours in a spectrum of 100 ms (`spectral_lines`); one that is found at the
same place in most looks of four seconds (`standing_lines`) is a tone where nothing beside it says
what else it is (`tone_company`). Voices glide and notes end. One loop is heard by several
microphones: it is told once, on the first that shows it. Under 160 Hz, the sixteenth bin, a line
has no neighbours on one side: that is the mains' ground, `hum`.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from itertools import islice
from typing import ClassVar, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import TickContext, condition, quiet_ticks, unknown
from engine.detectors.line_up import ON_ALL, comes_by_the_line, told_once, tone_words
from engine.detectors.spectral_lines import SpectralLines
from engine.detectors.standing_lines import LOOK_TICKS, TICKS, began_s, standing
from engine.detectors.tone_company import LOOKS, Company, Look, Looks
from engine.measure.tick_block import Ahead, TickBlock
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Condition, Fault, Flags, Kind, Levels, Measurement, Samples
from engine.model.percentiles import median
from engine.model.track_memory import TrackMemory, each_track, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import mean_square_at, rms_dbfs

BESIDE_BINS: Final = 16
CLOSE_BESIDE_BINS: Final = 8
"""Neighbours that a line is held against, to each side: 160 Hz in a tick, 16 Hz in half a second,
where the lines of an engine lie no nearer to each other than that (2000 turns a minute)."""
DOUBTED_S: Final = 5.0
"""Until then, when it is told (CONTRACT.md), a line that wanders after all is a voice."""

Lines = list[tuple[Levels, Levels]]
"""Of each track, the frequency and level of each line."""


class _Foreseen(NamedTuple):
    """What was made of one tick before it is asked of.

    quiet_dbfs : (tracks,) the quietest hop; loud : (tracks,) there may be a tone
    lines : of each loud track, where the tick is one to look at; calm : what is said without a tone
    """

    quiet_dbfs: Levels
    loud: Flags
    lines: Lines | None
    calm: Condition


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
    _newest_s: float = remembered(By.WHOLE, -np.inf)
    """The newest time at which any track had a tone."""
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
        self._company = company or Company()
        self._least_power = float(mean_square_at(least_dbfs))
        self._watched = scene.watched(Fault.TONE)
        self._open = scene.kinds(Kind.LAV, Kind.BOOM, Kind.AMBIENCE)
        self._rate_hz = rate_hz = scene.sample_rate_hz
        self._short = SpectralLines(rate_hz, contrast=contrast, beside_bins=BESIDE_BINS)
        self._close = SpectralLines(rate_hz, contrast=contrast, beside_bins=CLOSE_BESIDE_BINS)
        self._tracks = len(scene.tracks)
        self._ahead = Ahead(self._foresee)
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Find the lines of those ticks at once."""
        self._ahead.look(block)

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active while one line stands."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        ahead = self._ahead.of(m)
        self._quiet_dbfs[self._tick % TICKS] = ahead.quiet_dbfs
        self._tick += 1
        for track_index, sound in self._sound.items():
            sound.append(m.samples[:, track_index].copy())
        for repeat in m.repeats:  # a buffer that is played again has lines of its own
            self._seen_s[repeat.track_index] = -np.inf
        if self._tick % LOOK_TICKS == 0:
            self._look_at(ahead, m)
            if self._newest_s == m.end_s or any_of(self._by_line):
                self._tell_line_up(m)
        tick_s = m.end_s - m.start_s
        # Words may cover it for as many looks as it may be missing from.
        covered_ticks = (LOOKS - self._needed + 1) * LOOK_TICKS + 1
        if m.end_s - self._newest_s > covered_ticks * tick_s:  # as nearly always
            if any_of(self._running):
                self._running[:] = self._speaks[:] = False
            return ahead.calm
        self._running = m.end_s - self._seen_s <= covered_ticks * tick_s
        known = m.any_valid & self._watched
        if not any_of(self._running):
            self._speaks[:] = False
            return ahead.calm
        self._onset_s = np.where(self._running, self._since_s, self._onset_s)
        fresh = m.end_s - self._seen_s < LOOK_TICKS * tick_s
        last_s = np.where(fresh, m.end_s, self._seen_s)
        self._last_s = np.where(self._running, last_s, self._last_s)
        never = np.zeros(self._tracks, dtype=np.bool_)
        return condition(self._told() & known, known, self._onset_s, self._last_s, never)

    def _foresee(self, block: TickBlock) -> Iterator[_Foreseen]:
        """What is a plain function of each tick; the lines of those that will be looked at."""
        power = block.field("mean_square")
        loud = power.mean(axis=1) >= self._least_power
        loud &= block.field("valid").all(axis=1) & self._watched
        for tick, m in enumerate(block.ticks):
            for repeat in m.repeats:
                loud[tick, repeat.track_index] = False
        lines: list[Lines | None] = [None] * len(block.ticks)
        first = (LOOK_TICKS - 1 - self._tick) % LOOK_TICKS
        looks = np.arange(first, len(block.ticks), LOOK_TICKS)
        if len(looks):
            rest = iter(self._lines(block, looks, loud[looks]))
            for tick in looks.tolist():
                lines[tick] = list(islice(rest, int(np.count_nonzero(loud[tick]))))
        calm = quiet_ticks(block.field("any_valid") & self._watched)
        return map(_Foreseen, rms_dbfs(power.min(axis=1)), loud, lines, calm)

    def _lines(self, block: TickBlock, ticks: NDArray[np.int64], loud: Flags) -> Lines:
        """The lines of those tracks in those ticks, in order."""
        rows, tracks = loud.nonzero()
        return self._short.find(block.sound[ticks[rows], tracks]) if len(rows) else []

    def _told(self) -> Flags:
        """Where a tone is told."""
        same = np.stack([self._is_same(n) for n in range(self._tracks)])
        known = self._running, self._speaks, self._by_line, self._level_dbfs, self._last_s
        self._speaks = told_once(same, *known)
        return self._speaks

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
            turns = float(median(self._hz[at])) / self._rate_hz
            levels = self._level_dbfs[at]
            self._by_line[at] = comes_by_the_line(m.samples.T[at], turns, levels)

    def _look_at(self, ahead: _Foreseen, m: Measurement) -> None:
        """Take the lines of this tick, and of the half second before its end where one stands."""
        for track_index in indices(~ahead.loud).tolist():
            self._looks[track_index].clear()
        close = {n: sound for n, sound in self._sound.items() if len(sound) == LOOK_TICKS}
        self._sound = {}
        lines = ahead.lines
        if lines is None:  # ticks that were spoken of never came
            lines = self._lines(TickBlock((m,)), np.zeros(1, np.int64), ahead.loud[np.newaxis])
        tracks = indices(ahead.loud).tolist()
        for track_index, (hz, level_dbfs) in zip(tracks, lines, strict=True):
            looks = self._looks[track_index]
            looks.short.append(Look(self._tick, m.start_s, hz, level_dbfs))
            if track_index in close:
                looks.hear(np.stack(close[track_index]), self._tick)
                ((near_hz, near_dbfs),) = self._close.find(looks.sound[-1].reshape(1, -1))
                looks.close.append(Look(self._tick, m.start_s, near_hz, near_dbfs))
            if self._may_stand(looks.short, hz, level_dbfs):
                self._sound[track_index] = []
            else:
                looks.close.clear()
            self._judge(track_index, looks, m)

    def _may_stand(self, looks: deque[Look], hz: Levels, level_dbfs: Levels) -> bool:
        """Some line has stood for long enough to be looked at closely twice before it is told."""
        loud = level_dbfs >= self._least_dbfs
        steady_db, least = self._company.steady_db, self._needed - 2
        return len(self._standing(looks, hz[loud], level_dbfs[loud], steady_db, least)) > 0

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
        turns = hz[best] / self._rate_hz
        if self._company.wanders(looks, turns):
            if m.end_s - self._since_s[track_index] < DOUBTED_S:
                self._seen_s[track_index] = -np.inf
            return
        if not self._company.is_howl(looks, hz[best], turns, level_dbfs[best], quiet_dbfs):
            return
        same = abs(hz[best] / self._hz[track_index] - 1.0) <= self._company.same
        if not (self._running[track_index] and same):
            self._since_s[track_index] = began_s(
                looks.short,
                hz[best],
                self._quiet_dbfs[:, track_index],
                company=self._company,
                most_missed=LOOKS - self._needed,
                tick_s=m.end_s - m.start_s,
            )
        self._hz[track_index], self._level_dbfs[track_index] = hz[best], level_dbfs[best]
        self._seen_s[track_index] = self._newest_s = m.end_s

    def _standing(
        self, looks: deque[Look], hz: Levels, level_dbfs: Levels, steady_db: float, least: int
    ) -> list[int]:
        """Which of these lines were there, as loud, in so many of the newest looks."""
        same = self._company.same
        return standing(looks, hz, level_dbfs, same=same, steady_db=steady_db, least=least)

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        same = self._is_same(track_index) & self._running & self._open
        number = int(np.count_nonzero(same))
        loudest = int(np.argmax(np.where(same, self._level_dbfs, -np.inf))) if number else 0
        return tone_words(
            float(self._hz[track_index]),
            float(self._level_dbfs[loudest if number > 1 else track_index]),
            number,
            on_all=number == np.count_nonzero(self._open),
            by_line=bool(self._by_line[track_index]),
        )
