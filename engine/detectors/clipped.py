"""Clipped: flat tops at full scale or at any lower ceiling, on one side or both.

Evidence (CONTRACT.md): three level runs of 3 or more samples within 100 ms that cut off what is
heard, or one of 8 or more, at one ceiling which nothing near by exceeds; or, where a capacitor, a
low-pass or a resampler followed the overload, three cut tops within half a second, or two long ones
within 100 ms. A voice has such tops too, but round ones as high beside them. It goes on when 3 or
more of the last 10 seconds hold flat tops; a true peak above full scale without flat tops is no
fault. What makes a top flat: see `flat_tops` and `cut_tops`. An overload without any is told by the
crest it takes (`soft_knee`).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import ClassVar, Final, NamedTuple

import numpy as np

from engine.detectors.base import TickContext, condition, quiet, unknown
from engine.detectors.cut_tops import LOWEST_CEILING
from engine.detectors.overload_proof import OverloadProof
from engine.detectors.phone_bursts import buzzes
from engine.detectors.soft_knee import Loudness, SoftKnee
from engine.detectors.tops import SAME_CUT, RowTops, SeenTops, Top, TopSearch
from engine.measure.first_difference import difference_lag
from engine.measure.tick_block import Ahead, TickBlock, rows_up_to
from engine.model.flag_arrays import any_of
from engine.model.messages import Condition, Fault, Flags, Levels, Measurement, Samples
from engine.model.number_text import number
from engine.model.track_memory import TrackMemory, each_track, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import amplitude, amplitude_db

QUIET: Final = 0.02
"""Under this, -34 dBFS, most packs that overload never arrive (ours): a peak there is looked at """
OVER_FLOOR: Final = 32.0
"""where it is as many times the learned floor, 30 dB, as all is that fills a pack to its ceiling
(ours)."""
OFFSET_SHARE: Final = 0.5
"""Where the mean of a tick is more of its peak, the sound is small beside it: that is a DC offset,
and near the peak lies all of the sound."""
_TAIL_S: Final = 0.01
"""Kept from the tick before, so that a run across the seam is seen whole."""
_PEAK_TICKS: Final = 10


class _Foreseen(NamedTuple):
    """What was made of one tick before it is asked of.

    highest, lowest, offset : (tracks,) extremes of the tick, and how far its mean is off zero
    tops : by track
    knee : what `soft_knee` made
    """

    highest: Levels
    lowest: Levels
    offset: Levels
    tops: dict[int, RowTops]
    knee: Loudness | None


class Clipped(TrackMemory):
    """Looks for flat tops where a track is about as loud as it was within the last second."""

    NEEDS_SAMPLES: ClassVar = True

    _seen: list[SeenTops] = each_track(SeenTops)
    _tail: Samples = remembered(
        By.FIRST,
        lambda d: np.zeros((d._tracks, round(_TAIL_S * d._rate_hz)), dtype=np.float32),
    )
    _highest: Levels = per_track(0.0, rows=_PEAK_TICKS)
    _lowest: Levels = per_track(0.0, rows=_PEAK_TICKS)
    _held: Levels = per_track(0.0, rows=(_PEAK_TICKS, 2))
    _offset: Levels = per_track(0.0)
    _tick: int = remembered(By.WHOLE, 0)
    _knee: SoftKnee = remembered(By.PART, lambda d: SoftKnee(d._scene))

    def __init__(
        self,
        scene: Scene,
        *,
        enough: int = 3,
        near_s: float = 0.1,
        cut_near_s: float = 0.5,
        long_run: int = 8,
        goes_on_seconds: int = 3,
        loud_share: float = 0.8,
    ) -> None:
        """Start with nothing heard.

        Parameters
        ----------
        scene : Scene
            Whose tracks are watched.
        enough : int
            Flat tops at one ceiling that prove an overload (CONTRACT.md).
        near_s, cut_near_s : float
            s. How near they lie to each other, level ones and cut ones (CONTRACT.md).
        long_run : int
            Samples. One level run this long proves it (CONTRACT.md); of cut ones it takes two.
        goes_on_seconds : int
            Of the last ten, so many with flat tops are an overload that goes on
            (CONTRACT.md).
        loud_share : float
            A ceiling is reached where a track is about as loud as it was within the
            last second.
        """
        self._cut_near_s = cut_near_s
        self._goes_on_seconds = goes_on_seconds
        self._loud_share = loud_share
        self._scene = scene
        self._watched = scene.watched(Fault.CLIPPED)
        self._rate_hz = scene.sample_rate_hz
        self._proof = OverloadProof(enough, near_s, long_run, difference_lag(self._rate_hz))
        self._tracks = len(scene.tracks)
        self._ahead = Ahead(self._foresee)
        self.reset()

    def look_ahead(self, block: TickBlock) -> None:
        """Find the tops of those ticks at once."""
        self._ahead.look(block)

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active where this tick holds the evidence."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        ahead = self._ahead.of(m)
        at = self._tick % _PEAK_TICKS
        self._highest[at], self._lowest[at], self._held[at] = ahead.highest, ahead.lowest, 0.0
        self._tick += 1
        self._offset = ahead.offset
        self._tail = m.samples[-self._tail.shape[1] :].T
        active = np.zeros(self._tracks, dtype=np.bool_)
        for track_index, found in ahead.tops.items():
            active[track_index] = self._evidence(track_index, found, m)
        for seen in self._seen:
            if seen.seconds:
                seen.forget(m.end_s)
        known = m.any_valid & self._watched
        soft = self._knee.update(m, ahead.knee)
        if soft is not None:
            soft &= ~active & self._watched
        if not any_of(active) and (soft is None or not any_of(soft)):
            return quiet(known)
        onset_s = np.array([seen.onset_s for seen in self._seen])
        last_s = np.array([seen.last_s for seen in self._seen])
        goes_on = np.array([len(seen.seconds) >= self._goes_on_seconds for seen in self._seen])
        if soft is None:
            return condition(active, known, onset_s, last_s, goes_on)
        return condition(
            active | soft,
            known,
            np.where(soft, self._knee.since_s, onset_s),
            np.where(soft, m.end_s, last_s),
            goes_on,
        )

    def _foresee(self, block: TickBlock) -> Iterator[_Foreseen]:
        """Peaks, and the tops of all tracks and ticks that are about as loud as lately."""
        ticks = block.ticks
        peak = block.field("peak").max(axis=1)
        highs, lows = block.field("peak_max").max(axis=1), block.field("peak_min").min(axis=1)
        before = (self._tick + np.arange(1, _PEAK_TICKS)) % _PEAK_TICKS
        highest, lowest = (
            rows_up_to(np.concatenate([ring[before], now]), _PEAK_TICKS)
            for ring, now in ((self._highest, highs), (self._lowest, lows))
        )
        highest, lowest = highest.max(axis=1), lowest.min(axis=1)
        lately = np.maximum(highest, -lowest)
        loud = (peak >= self._lowest_ceiling(block)) & (peak >= self._loud_share * lately)
        loud &= self._watched
        offset = np.abs(block.field("dc_offset"))
        offset_before = np.concatenate([self._offset[np.newaxis], offset[:-1]])
        loud &= np.maximum(offset, offset_before) < OFFSET_SHARE * peak
        for tick, m in enumerate(ticks):  # its tops come again and again at one height
            for repeat in m.repeats:
                loud[tick, repeat.track_index] = False
        tops = self._tops(
            block,
            loud,
            highs * (1.0 + SAME_CUT) >= highest,
            lows * (1.0 + SAME_CUT) <= lowest,
        )
        knee = self._knee.foresee(block)
        for part in zip(highs, lows, offset, tops, knee, strict=True):
            yield _Foreseen(*part)

    def _lowest_ceiling(self, block: TickBlock) -> Levels:
        """No overload is looked for under it, shape (ticks, tracks); NaN floors are low."""
        floor = np.nan_to_num(amplitude(block.field("floor_dbfs")), nan=0.0)
        return np.clip(OVER_FLOOR * floor, LOWEST_CEILING, QUIET)

    def _tops(
        self, block: TickBlock, loud: Flags, as_high: Flags, as_low: Flags
    ) -> list[dict[int, RowTops]]:
        """Of each tick the tops by track, where that is loud; all flags are (ticks, tracks)."""
        said: list[dict[int, RowTops]] = [{} for _ in block.ticks]
        ticks, track_indices = loud.nonzero()
        if not len(ticks):
            return said
        sound, lead = block.sound, self._tail.shape[1]
        x = np.empty((len(ticks), lead + sound.shape[2]), dtype=np.float32)
        x[:, lead:] = sound[ticks, track_indices]
        first = ticks == 0
        x[first, :lead] = self._tail[track_indices[first]]
        x[~first, :lead] = sound[ticks[~first] - 1, track_indices[~first], -lead:]
        begin_s = np.array([m.start_s for m in block.ticks])[ticks] - lead / self._rate_hz
        search = TopSearch(
            x,
            begin_s,
            np.searchsorted(ticks, ticks),
            as_high[ticks, track_indices],
            as_low[ticks, track_indices],
            self._rate_hz,
        )
        for row, found in search.found().items():
            said[ticks[row]][int(track_indices[row])] = found
        return said

    def _evidence(self, track_index: int, found: RowTops, m: Measurement) -> bool:
        """Whether tops that begin in this tick prove an overload; keeps what the crew is told."""
        seen, since_s = self._seen[track_index], m.start_s - _TAIL_S
        seen.add(found, m.end_s, since_s - self._cut_near_s)
        proof = set(self._held_proof(found, track_index))
        if seen.newest_cut_s < since_s and not proof:
            return False
        seen.bring_in(0.5 / self._rate_hz, since_s - self._cut_near_s)
        energy = float(m.mean_square[:, track_index].mean()) * len(m.samples)
        reached = (self._highest[:, track_index].max(), -self._lowest[:, track_index].min())
        for newest, top in enumerate(seen.tops):
            if top.cut and top.at_s >= since_s:
                before = seen.tops[: newest + 1]
                level = self._proof.level(top, before, energy)
                side = float(reached[top.ceiling < 0.0])
                proof.update(level or self._proof.cut(top, before, energy, side))
        # A phone's pulses have flat tops of their own.
        if not proof or buzzes(m.samples[:, track_index], self._rate_hz):
            return False
        seen.onset_s = min(top.at_s for top in proof)
        seen.last_s = max(max(top.at_s for top in proof), m.start_s) + 1.0 / self._rate_hz
        seen.ceiling = max(abs(top.ceiling) for top in proof)
        seen.count(int(seen.last_s), sum(top.at_s >= since_s for top in proof))
        return True

    def _held_proof(self, found: RowTops, track_index: int) -> list[Top]:
        """What an overload held before a low cut, which makes some of it higher; nothing if
        anything else was higher lately."""
        if not found.held:
            return []
        self._held[(self._tick - 1) % _PEAK_TICKS, :, track_index] = found.held_to
        highest = np.array([self._highest[:, track_index], -self._lowest[:, track_index]])
        held_to = (1.0 + SAME_CUT) * self._held[:, :, track_index].max(axis=0)
        return found.held if (highest.max(axis=1) <= held_to)[found.held_to > 0.0].all() else []

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        seen = self._seen[track_index]
        tops = sum(number for _, number in seen.seconds)
        if not tops:
            lack_db = self._knee.lack_db[track_index]
            return "" if np.isnan(lack_db) else f"peaks {lack_db:.0f} dB lower than the safety's"
        ceiling_dbfs = number(float(amplitude_db(seen.ceiling)), digits=1)
        return f"{tops} flat top{'s' * (tops != 1)} in 10 s, ceiling {ceiling_dbfs} dBFS"
