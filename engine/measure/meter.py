"""One tick of samples in, one measurement out: joins all that is measured of every track."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from engine.measure.common_fall import CommonFall
from engine.measure.decimate import Decimate
from engine.measure.first_difference import difference_lag
from engine.measure.floor import Learned, LiveFloor
from engine.measure.gain_step import GainStep
from engine.measure.level import HOPS_PER_TICK, Hops, LevelTotals, measure_hops
from engine.measure.loudness import Loudness
from engine.measure.presence import Presence, unlearned_dbfs
from engine.measure.repeats import RepeatFinder
from engine.measure.short_levels import ShortLevels
from engine.measure.sibilance import Sibilance
from engine.measure.tick_parts import TickParts
from engine.measure.true_peak import TruePeak
from engine.measure.windows import MOST_TICKS, HopWindows
from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Flags, Kind, Levels, Measurement, Samples
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By, TrackRemap
from engine.model.tracks import Scene
from engine.model.units import SPEECH_DB, hop_frames, mean_square_at, rms_dbfs
from engine.timecode.track_reader import TimecodeReader

LEVEL_HOPS: Final = 40


@dataclass(frozen=True, slots=True, eq=False)
class Totals:
    """What was measured since the start, arrays of shape (tracks,).

    NaN where nothing was measured (too short, or all lost), `FLOOR_DB` where there was no level.
    """

    integrated_lufs: Levels
    momentary_max_lufs: Levels
    short_term_max_lufs: Levels
    true_peak_max_dbtp: Levels
    sample_peak_max_dbfs: Levels
    rms_dbfs: Levels
    dc_offset: Levels
    noise_floor_dbfs: Levels
    present_fraction: Levels


class Meter(TrackMemory):
    """Measures all tracks of one source, in memory that does not grow.

    Answers are the same bit for bit however the sound was cut on its way here: what must last
    from tick to tick is carried exactly.

    Attributes
    ----------
    hop_frames : int
        10 ms to the nearest frame.
    tick_frames : int
        10 hops.
    """

    _ticks: int = remembered(By.WHOLE, 0)
    _totals: LevelTotals = remembered(By.PART, lambda d: LevelTotals(d._tracks))
    _loudness: Loudness = remembered(By.PART, lambda d: Loudness(d._tracks, d._rate, HOPS_PER_TICK))
    _true_peak: TruePeak = remembered(By.PART, lambda d: TruePeak(d._tracks))
    _levels: HopWindows = remembered(
        By.PART, lambda d: HopWindows(d._tracks, (LEVEL_HOPS,), HOPS_PER_TICK)
    )
    _floor: LiveFloor = remembered(
        By.PART, lambda d: LiveFloor(unlearned_dbfs(d._scene), d._learned)
    )
    _short: ShortLevels = remembered(
        By.PART, lambda d: ShortLevels(d._tracks, d._rate, d.hop_frames)
    )
    _common_fall: CommonFall = remembered(By.PART, lambda d: CommonFall(d._scene))
    _gain_step: GainStep = remembered(By.PART, lambda d: GainStep(d._scene))
    _presence: Presence = remembered(By.PART, lambda d: Presence(d._scene))
    _timecode: TimecodeReader = remembered(By.PART, lambda d: TimecodeReader(d._scene))
    _repeats: RepeatFinder = remembered(
        By.PART, lambda d: RepeatFinder(_sounding(d._scene), d._rate, d.hop_frames)
    )

    def __init__(self, scene: Scene, learned: Learned | None = None) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are measured.
        learned : Learned, optional
            Floors of an earlier watch of the same tracks.

        Raises
        ------
        ValueError
            If `learned` holds another number of tracks.
        """
        tracks = len(scene.tracks)
        if learned is not None and learned.floor_dbfs.shape != (tracks,):
            known = len(learned.floor_dbfs)
            raise ValueError(
                f"learned floors are of {known} tracks, the plan has {tracks}: relearn"
            )
        self._rate = scene.sample_rate_hz
        self._tracks = tracks
        self.hop_frames = hop_frames(self._rate)
        self.tick_frames = HOPS_PER_TICK * self.hop_frames
        self._scene, self._learned = scene, learned
        self.reset()
        self._decimate = Decimate(self._rate)
        self._lag = difference_lag(self._rate)
        self._sibilance = Sibilance(scene)
        self._presence.follow(self._floor.floor_dbfs)

    def update(self, samples: Samples, missing: Flags | None = None) -> Measurement:
        """Measure one tick; see `measure`."""
        self._check(samples, len(samples) == self.tick_frames)
        return self.measure(samples, missing)[0]

    def measure(self, samples: Samples, missing: Flags | None = None) -> list[Measurement]:
        """Measure some ticks in a row, all at once; what comes out is what it is one by one.

        What is a plain function of the samples is made for all ticks together, and each measurement
        is a view of that; what decides (floor, presence, steps of gain) goes tick by tick.

        Parameters
        ----------
        samples : ndarray of float32, shape (ticks * tick_frames, tracks), any memory layout
            May hold NaN, infinities and denormals; up to `MOST_TICKS` ticks. Not altered, but the
            measurements may share its memory where it is contiguous along frames.
        missing : ndarray of bool, shape (frames,) or (tracks, frames), optional
            True where frames were lost, on every track or that one; the samples there are zero.

        Raises
        ------
        ValueError
            If the shape is another.
        """
        ticks = len(samples) // self.tick_frames
        right = 1 <= ticks <= MOST_TICKS and len(samples) == ticks * self.tick_frames
        self._check(samples, right)
        hops = measure_hops(samples, self.hop_frames, missing, ticks)
        self._count(hops)
        self._loudness.update(hops)
        mean_square = hops.squares / self.hop_frames
        self._levels.push(mean_square, hops.valid, hops.all_valid)
        parts = TickParts.of(hops, mean_square, self._decimate, self._lag, self._sibilance)
        level_dbfs = rms_dbfs(self._levels.latest(LEVEL_HOPS, ticks))
        steps_db, quietest_db = self._short.update(hops)
        ground = self._follow_ground(parts, ticks, level_dbfs)
        ends_s = [(self._ticks + n) * self.tick_frames / self._rate for n in range(1, ticks + 1)]
        repeats = self._repeats.update(hops, [s - self.tick_frames / self._rate for s in ends_s])
        said = []
        for tick, end_s in enumerate(ends_s):
            self._ticks += 1
            span = slice(tick * self.tick_frames, (tick + 1) * self.tick_frames)
            sound = hops.channels[:, span]
            said.append(
                Measurement(
                    start_s=(self._ticks - 1) * self.tick_frames / self._rate,
                    end_s=end_s,
                    hop_s=self.hop_frames / self._rate,
                    samples=sound.T,
                    momentary_lufs=self._loudness.momentary_lufs[tick],
                    short_term_lufs=self._loudness.short_term_lufs[tick],
                    level_dbfs=level_dbfs[tick],
                    steps_db=steps_db[tick],
                    quietest_db=quietest_db[tick],
                    repeats=repeats[tick],
                    timecode=self._timecode.update(sound.T, end_s),
                    **parts.of_tick(tick),
                    **ground[tick],
                )
            )
        return said

    def _follow_ground(
        self, parts: TickParts, ticks: int, level_dbfs: Levels
    ) -> list[dict[str, Any]]:
        """Floors, presence and what depends on them, tick by tick, by their names in `Measurement`.

        Learns the floors, and moves those of which the sound itself says that they are void: where
        a gain was turned, where a source stopped.
        """
        bands_db = self._gain_step.levels_db(
            parts.power.T,
            parts.treble.T.astype(np.float64),
            parts.decimated.swapaxes(0, 1),
            parts.whole.T,
        )
        newest = self._levels.latest(HOPS_PER_TICK, ticks)
        newest_dbfs = rms_dbfs(newest)
        ground = []
        for tick in range(ticks):
            gain_db = self._gain_step.update(bands_db[tick], self._floor.floor_dbfs)
            stopped = self._follow_floor(newest[tick], newest_dbfs[tick], level_dbfs[tick], gain_db)
            present = self._presence.update(level_dbfs[tick])
            floor_dbfs = self._floor.floor_dbfs.copy()
            ground.append(
                {
                    "floor_dbfs": floor_dbfs,
                    "presence_dbfs": self._presence.threshold_dbfs,
                    "present": present,
                    "source_stopped": stopped,
                    "gain_step_db": gain_db,
                }
            )
        speech = _speech(parts.mean_square, np.array([one["floor_dbfs"] for one in ground]))
        for one, hops in zip(ground, speech, strict=True):
            one["speech"] = hops.T
        return ground

    def _follow_floor(
        self, newest: Levels, newest_dbfs: Levels, level_dbfs: Levels, gain_db: Levels
    ) -> Flags:
        """Learn the floors of one tick; where a source stopped."""
        changed = self._floor.update(newest)
        if gain_db.any():
            self._floor.shift(gain_db)
            was_dbfs = self._gain_step.floor_dbfs
            for track_index in indices((gain_db != 0.0) & ~np.isnan(was_dbfs)).tolist():
                self._floor.teach(track_index, float(was_dbfs[track_index] + gain_db[track_index]))
            changed = True
        stopped = self._common_fall.update(
            level_dbfs, newest_dbfs, self._floor.floor_dbfs, self._presence.threshold_dbfs
        )
        if any_of(stopped):
            self._floor.forget(stopped)
            changed = True
        if changed:
            self._presence.follow(self._floor.floor_dbfs)
        return stopped

    def skip(self, ticks: int) -> None:
        """Count ticks in which nothing came, without measuring: only the time goes on."""
        self._ticks += ticks
        self._timecode.skip(ticks * self.tick_frames)

    def rewind(self) -> None:
        """The take begins anew: its code, if it has any, does not go on from where it was."""
        self._timecode.rewind()

    def finish(self, rest: Samples, missing: Flags | None = None) -> None:
        """Count in the last, incomplete tick, so that the totals are exact for any length.

        `rest` has fewer than `tick_frames` frames, or none. Its full hops count in all maxima,
        its last frames in peaks, RMS and DC; as BS.1770 has it, an unfinished gating block is
        dropped.

        Raises
        ------
        ValueError
            If it holds a whole tick or more, or another number of tracks.
        """
        self._check(rest, len(rest) < self.tick_frames)
        whole = len(rest) - len(rest) % self.hop_frames
        if whole:
            gap = None if missing is None else missing[..., :whole]
            hops = measure_hops(rest[:whole], self.hop_frames, gap)
            self._count(hops)
            self._loudness.update(hops)
        if whole < len(rest):
            last = None if missing is None else missing[..., whole:]
            self._count(measure_hops(rest[whole:], len(rest) - whole, last))

    def _check(self, samples: Samples, right_length: bool) -> None:
        if samples.ndim != 2 or samples.shape[1] != self._tracks or not right_length:
            raise ValueError(
                f"samples of shape {samples.shape}: a tick is ({self.tick_frames}, {self._tracks})"
            )

    def _count(self, hops: Hops) -> None:
        self._totals.update(hops)
        self._true_peak.update(hops)

    def totals(self) -> Totals:
        """What was measured so far."""
        return Totals(
            integrated_lufs=self._loudness.integrated_lufs,
            momentary_max_lufs=self._loudness.momentary_max_lufs,
            short_term_max_lufs=self._loudness.short_term_max_lufs,
            true_peak_max_dbtp=self._true_peak.max_dbtp,
            sample_peak_max_dbfs=self._totals.sample_peak_dbfs,
            rms_dbfs=self._totals.rms_dbfs,
            dc_offset=self._totals.dc_offset,
            noise_floor_dbfs=self._floor.floor_dbfs.copy(),
            present_fraction=self._presence.fraction,
        )

    def changed(self, scene: Scene, remap: TrackRemap) -> Meter:
        """A meter of the tracks of another plan, which goes on from here with those that stay."""
        fresh = type(self)(scene)
        fresh._timecode.skip(self._ticks * self.tick_frames)
        fresh.carry(self, remap)
        fresh._presence.follow(fresh._floor.floor_dbfs)
        return fresh

    def teach(self, track_index: int, floor_dbfs: float) -> None:
        """The live floor of a track on which none is known yet, from a line check."""
        self._floor.teach(track_index, floor_dbfs)
        self._presence.follow(self._floor.floor_dbfs)

    def learned(self) -> Learned:
        """The learned floors, so that a restart does not begin from nothing."""
        return self._floor.learned


def _speech(mean_square: Levels, floor_dbfs: Levels) -> Flags:
    """Hops at least `SPEECH_DB` above the live floor, (ticks, tracks, hops) as `mean_square`."""
    least = mean_square_at(np.where(np.isnan(floor_dbfs), np.inf, floor_dbfs + SPEECH_DB))
    return np.asarray(mean_square >= least[..., None])


def _sounding(scene: Scene) -> Flags:
    """Tracks that carry sound, shape (tracks,): all but timecode and unused ones."""
    return ~scene.kinds(Kind.TIMECODE, Kind.UNUSED)
