"""Muted: the samples are digital zero, frozen at one value, or an idle converter's last bit.

Model: an open analogue input always hisses, so exact zeros or a value that never moves can only
come from a receiver that mutes, a link or patch that is gone. Under -110 dBFS no microphone
preamplifier is left, only a converter's own last bit (CONTRACT.md; common practice, no source).
"""

from __future__ import annotations

from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import Runs, TickContext, condition, unknown
from engine.model.messages import Condition, Fault, Flags, Measurement, Samples
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.tracks import Scene
from engine.model.units import IDLE_DBFS, IDLE_MEAN_SQUARE, amplitude

_IDLE_AMPLITUDE: Final = float(amplitude(IDLE_DBFS))
_LSB_16: Final = 1.0 / 32768.0


class Muted(TrackMemory):
    """Runs of hops on which nothing moves; edges to the sample."""

    NEEDS_SAMPLES: ClassVar = True

    _runs: Runs = remembered(By.PART, lambda d: Runs(d._tracks))
    _before: Samples = per_track(np.inf, rows=1, dtype=np.float32)

    def __init__(self, scene: Scene) -> None:
        self._watched = scene.watched(Fault.MUTED)
        self._rate_hz = scene.sample_rate_hz
        self._tracks = len(scene.tracks)
        self.reset()

    def update(self, measurement: Measurement | None, feed: TickContext) -> Condition:
        """Active where at least one hop of the tick did not move."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        runs = self._runs
        runs.update(idle_hops(m) & self._watched, m.valid, m.start_s, m.hop_s)
        last_s = runs.last_s.copy()
        for track_index in np.flatnonzero(runs.active):
            last_s[track_index] = self._exact(int(track_index), m)
        hop_frames = len(m.samples) // len(m.valid)
        self._before = np.where(m.valid[-1], m.samples[-hop_frames:], np.float32(np.inf))
        known = m.any_valid & self._watched
        return condition(runs.active, known, runs.onset_s, last_s)

    def _exact(self, track_index: int, m: Measurement) -> float:
        """Put the run's onset, where it lies in this tick, to the sample; returns its end so."""
        runs, hop_frames = self._runs, len(m.samples) // len(m.valid)
        valid = np.repeat(m.valid[:, track_index], hop_frames)
        here = np.where(valid, m.samples[:, track_index], np.float32(np.inf))
        x = np.concatenate([self._before[:, track_index], here])
        lead = len(x) - len(here)
        begin = lead + round((runs.onset_s[track_index] - m.start_s) * self._rate_hz)
        end = lead + round((runs.last_s[track_index] - m.start_s) * self._rate_hz)
        if lead <= begin < len(x):
            still = _still(x[max(begin - hop_frames, 0) : begin][::-1], x[begin])
            runs.began(track_index, float(runs.onset_s[track_index]) - still / self._rate_hz)
        if not lead <= end < len(x):
            return float(runs.last_s[track_index])
        still = _still(x[end : end + hop_frames], x[end - 1])
        return float(runs.last_s[track_index]) + still / self._rate_hz

    def detail(self, track_index: int) -> str:
        """What was seen, one line."""
        return "digital zero or a frozen value: no signal arrives at all"


def idle_hops(m: Measurement) -> Flags:
    """Where nothing but an idle converter is left, shape (hops, tracks).

    Idle is: one value all through, a swing inside one least significant bit around it, an AES17
    RMS under -110 dBFS, or in 16-bit material two neighbouring codes only.
    """
    swing = m.peak_max - m.peak_min
    idle = (swing <= 2.0 * _IDLE_AMPLITUDE) | (m.mean_square < IDLE_MEAN_SQUARE)
    maybe = ~idle & (swing <= 1.01 * _LSB_16)
    if maybe.any():
        hop_frames = len(m.samples) // len(m.valid)
        for hop, track_index in np.argwhere(maybe):
            codes = m.samples[hop * hop_frames : (hop + 1) * hop_frames, track_index] * 32768.0
            idle[hop, track_index] = bool(np.all(codes == np.round(codes)))
    return np.asarray(idle)


def _still(samples: NDArray[np.float32], value: np.float32) -> int:
    """How many of the first samples stay within an idle converter's swing of that value."""
    if not np.isfinite(value):
        return 0
    moved = np.abs(samples - value) > _IDLE_AMPLITUDE
    return int(np.argmax(moved)) if moved.any() else len(samples)
