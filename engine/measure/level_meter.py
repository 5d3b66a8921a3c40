"""The meter of a reduced watch: levels, floor and presence, and nothing else."""

from __future__ import annotations

import numpy as np

from engine.measure.level import HOPS_PER_TICK, measure_hops
from engine.measure.meter import LEVEL_HOPS, Meter
from engine.model.messages import Flags, Measurement, Samples
from engine.model.units import rms_dbfs


class LevelMeter(Meter):
    """Measures what *muted* and *silent* need; all else is NaN, or none.

    For a watch whose engine crashed again and again: what crashed may be a measurement.
    """

    def measure(self, samples: Samples, missing: Flags | None = None) -> list[Measurement]:
        """Measure some ticks in a row, one by one; see `Meter.measure`."""
        size = self.tick_frames
        return [
            self.update(
                samples[first : first + size],
                None if missing is None else missing[..., first : first + size],
            )
            for first in range(0, len(samples), size)
        ]

    def update(self, samples: Samples, missing: Flags | None = None) -> Measurement:
        """Measure one tick; see `Meter.update`."""
        self._check(samples, len(samples) == self.tick_frames)
        hops = measure_hops(samples, self.hop_frames, missing)
        mean_square = hops.squares / self.hop_frames
        self._levels.push(mean_square, hops.valid, hops.all_valid)
        level_dbfs = rms_dbfs(self._levels.latest(LEVEL_HOPS)[0])
        if self._floor.update(self._levels.latest(HOPS_PER_TICK)[0]):
            self._presence.follow(self._floor.floor_dbfs)
        self._ticks += 1
        tracks = len(level_dbfs)
        return Measurement(
            start_s=(self._ticks - 1) * self.tick_frames / self._rate,
            end_s=self._ticks * self.tick_frames / self._rate,
            hop_s=self.hop_frames / self._rate,
            samples=hops.channels.T,
            peak_max=hops.peak_max.T,
            peak_min=hops.peak_min.T,
            mean_square=mean_square.T,
            valid=hops.valid.T,
            lost=hops.lost.sum(axis=1),
            momentary_lufs=np.full(tracks, np.nan),
            short_term_lufs=np.full(tracks, np.nan),
            level_dbfs=level_dbfs,
            floor_dbfs=self._floor.floor_dbfs.copy(),
            presence_dbfs=self._presence.threshold_dbfs,
            present=self._presence.update(level_dbfs),
            any_valid=np.asarray(hops.valid.any(axis=1)),
            all_valid=hops.all_valid,
            peak=np.maximum(hops.peak_max, -hops.peak_min).T,
            speech=np.zeros_like(hops.valid).T,
            decimated=np.zeros((tracks, 0), dtype=np.float32),
            dc_offset=np.full(tracks, np.nan),
            source_stopped=np.zeros(tracks, dtype=np.bool_),
            gain_step_db=np.zeros(tracks),
            difference_energy=np.zeros_like(mean_square, dtype=np.float32).T,
            sibilance_energy=np.zeros_like(mean_square, dtype=np.float32).T,
        )
