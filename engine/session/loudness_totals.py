"""What was measured of every track over one stretch of a watch, kept in the log and put together.

A stretch is what one engine measured, from its start to its end. An engine that takes over begins
its figures anew; a report puts the stretches of a session together.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.measure.loudness import OFFSET_LU, GateHistogram
from engine.measure.meter import Totals
from engine.model.flag_arrays import count_of
from engine.model.messages import Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.units import amplitude_db

CLASSES_PER_LU: Final = 10
_PACKED: Final = np.dtype([("track", "<u2"), ("class", "<u2"), ("count", "<u4"), ("energy", "<f8")])


@dataclass(frozen=True, slots=True)
class LoudnessTotals:
    """Figures of every track in the plan's order, as `Totals` has them; NaN where unknown.

    measured_s : how much sound was measured
    known_s : for how long it was known whether the track was present
    inputs : those of the tracks; empty in older logs, where they are those of the plan
    """

    measured_s: tuple[float, ...]
    known_s: tuple[float, ...]
    integrated_lufs: tuple[float, ...]
    momentary_max_lufs: tuple[float, ...]
    short_term_max_lufs: tuple[float, ...]
    true_peak_max_dbtp: tuple[float, ...]
    sample_peak_max_dbfs: tuple[float, ...]
    rms_dbfs: tuple[float, ...]
    noise_floor_dbfs: tuple[float, ...]
    present_fraction: tuple[float, ...]
    inputs: tuple[int, ...] = ()

    def of(self, inputs: Sequence[int]) -> LoudnessTotals:
        """The same for those inputs; of one that is not in it nothing is known."""
        index = {number: n for n, number in enumerate(self.inputs or inputs)}
        figures: dict[str, tuple[float, ...]] = {}
        for name in _FIGURES:
            none = 0.0 if name in _SECONDS else np.nan
            values = getattr(self, name)
            figures[name] = tuple(values[index[n]] if n in index else none for n in inputs)
        return LoudnessTotals(**figures, inputs=tuple(inputs))


class Gates(GateHistogram):
    """Gating blocks in classes 0.1 LU wide, few enough to be logged.

    Together, stretches give the integrated loudness of the whole.
    """

    def __init__(self, tracks: int) -> None:
        super().__init__(tracks, CLASSES_PER_LU)

    def add_block(self, block_lufs: Levels) -> None:
        """Take in one gating block a track, by its loudness; NaN counts for nothing."""
        mean_square = 10.0 ** ((block_lufs - OFFSET_LU) / 10.0)
        self.add(block_lufs[np.newaxis], mean_square[np.newaxis])

    def pack(self) -> bytes:
        """The classes that are not empty."""
        track, gate = cell = np.nonzero(self.count)
        packed = np.empty(len(track), dtype=_PACKED)
        packed["track"], packed["class"] = track, gate
        packed["count"], packed["energy"] = self.count[cell], self.energy[cell]
        return packed.tobytes()

    def of(self, track_indices: Sequence[int]) -> Gates:
        """The same of those tracks."""
        some = Gates(len(track_indices))
        some.count, some.energy = self.count[list(track_indices)], self.energy[list(track_indices)]
        return some

    def put(self, blob: bytes, track_indices: Sequence[int] | None = None) -> None:
        """Add what `pack` made; `track_indices` are those of its tracks here, if others.

        Raises
        ------
        ValueError
            If it is of other tracks or no such blob.
        """
        packed = np.frombuffer(blob, dtype=_PACKED)
        track, classes = packed["track"].astype(np.intp), packed["class"].astype(np.intp)
        if track_indices is not None:
            if len(track) and track.max() >= len(track_indices):
                raise ValueError("gating blocks of other tracks")
            track = np.array(track_indices, dtype=np.intp)[track]
        cell = (track, classes)
        if any(len(n) and n.max() >= size for n, size in zip(cell, self.count.shape, strict=True)):
            raise ValueError("gating blocks of other tracks")
        np.add.at(self.count, cell, packed["count"])
        np.add.at(self.energy, cell, packed["energy"])


class TotalsRecorder(TrackMemory):
    """Gathers one stretch tick by tick; what the meter has in its totals is only asked for."""

    gates: Gates = remembered(By.PART, lambda recorder: Gates(len(recorder.inputs)))
    _measured_s: Levels = per_track(0.0)
    _known_s: Levels = per_track(0.0)

    def __init__(self, inputs: Sequence[int], totals: Callable[[], Totals]) -> None:
        self.inputs = tuple(inputs)
        self._tracks = len(inputs)
        self._totals = totals
        self.reset()

    def add(self, m: Measurement) -> None:
        """Take in one tick. Its momentary loudness is that of the gating block that ends there."""
        self.gates.add_block(m.momentary_lufs)
        self._measured_s += count_of(m.valid, axis=0) * m.hop_s
        self._known_s += ~np.isnan(m.level_dbfs) * (m.end_s - m.start_s)

    def stretch(self) -> LoudnessTotals:
        """The figures so far."""
        totals = self._totals()
        whole = {name: getattr(totals, name) for name in _TOTALS}
        whole |= {"measured_s": self._measured_s, "known_s": self._known_s}
        figures = {name: tuple(map(float, values)) for name, values in whole.items()}
        return LoudnessTotals(**figures, inputs=self.inputs)


_SECONDS: Final = ("measured_s", "known_s")
_FIGURES: Final = tuple(f.name for f in fields(LoudnessTotals) if f.name != "inputs")
_TOTALS: Final = tuple(name for name in _FIGURES if name not in _SECONDS)
_MAXIMA: Final = tuple(name for name in _TOTALS if "max" in name)


def together(stretches: Sequence[LoudnessTotals], gates: Gates) -> LoudnessTotals:
    """The figures of the whole: at least one stretch, and the gating blocks of all.

    All are of the same inputs. Maxima are exact; RMS and presence are weighed by how long each
    stretch measured; integrated loudness comes from `gates`, or from the one stretch that knows
    it; the floor is the newest.
    """
    if len(stretches) == 1:
        return stretches[0]
    whole: dict[str, NDArray[np.float64]] = {
        name: np.fmax.reduce(_rows(stretches, name)) for name in _MAXIMA
    }
    measured_s, known_s = _rows(stretches, "measured_s"), _rows(stretches, "known_s")
    power = 10.0 ** (_rows(stretches, "rms_dbfs") / 10.0)
    whole["rms_dbfs"] = amplitude_db(np.sqrt(_weighed(power, measured_s)))
    whole["present_fraction"] = _weighed(_rows(stretches, "present_fraction"), known_s)
    integrated = _rows(stretches, "integrated_lufs")
    stretches_known = count_of(~np.isnan(integrated), axis=0)
    one = np.fmax.reduce(integrated)
    whole["integrated_lufs"] = np.where(stretches_known > 1, gates.integrated_lufs(), one)
    whole["noise_floor_dbfs"] = _newest(_rows(stretches, "noise_floor_dbfs"))
    whole |= {"measured_s": measured_s.sum(axis=0), "known_s": known_s.sum(axis=0)}
    figures = {name: tuple(map(float, values)) for name, values in whole.items()}
    return LoudnessTotals(**figures, inputs=stretches[0].inputs)


def _newest(rows: NDArray[np.float64]) -> NDArray[np.float64]:
    """The last of each column that is known."""
    is_known = ~np.isnan(rows[::-1])
    return np.asarray(rows[::-1][is_known.argmax(axis=0), np.arange(rows.shape[1])])


def _rows(stretches: Sequence[LoudnessTotals], name: str) -> NDArray[np.float64]:
    return np.array([getattr(one, name) for one in stretches])


def _weighed(values: NDArray[np.float64], weights: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean of the known rows by weight; NaN where none is known."""
    weights = np.where(np.isnan(values), 0.0, weights)
    whole = weights.sum(axis=0)
    mean = (np.nan_to_num(values) * weights).sum(axis=0) / np.where(whole > 0.0, whole, 1.0)
    return np.where(whole > 0.0, mean, np.nan)
