"""Muted: the samples are digital zero, frozen at one value, or an idle converter's last bit.

Model: an open analogue input always hisses, so exact zeros or a value that never moves can only
come from a receiver that mutes, a link or patch that is gone. Under -110 dBFS no microphone
preamplifier is left, only a converter's own last bit (contract; common practice, no source).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import Feed, Runs, condition, unknown
from engine.model import Condition, Fault, Flags, Measurement, Samples
from engine.tracks import Scene
from engine.units import amplitude

IDLE_DBFS: Final = -110.0
_IDLE_AMPLITUDE: Final = float(amplitude(IDLE_DBFS))
_IDLE_MEAN_SQUARE: Final = _IDLE_AMPLITUDE**2 / 2.0
_LSB_16: Final = 1.0 / 32768.0


class Muted:
    """Runs of hops on which nothing moves; edges to the sample."""

    def __init__(self, scene: Scene) -> None:
        self._watched = scene.watched(Fault.MUTED)
        self._rate_hz = scene.sample_rate_hz
        self._tracks = len(scene.tracks)
        self.reset()

    def reset(self) -> None:
        """Forget the sound, keep the scene."""
        self._runs = Runs(self._tracks)
        self._before: Samples | None = None

    def update(self, measurement: Measurement | None, feed: Feed) -> Condition:
        """Active where at least one hop of the tick did not move."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        idle = idle_hops(m) & self._watched
        ran = self._runs.running.copy()
        self._runs.update(idle, m.valid, m.start_s, m.hop_s)
        if self._runs.active.any():
            self._refine(m, ran)
        self._before = m.samples[-(len(m.samples) // len(m.valid)) :]
        active = self._runs.active
        known = m.valid.any(axis=0) & self._watched
        return condition(active, known, self._runs.onset_s, self._runs.last_s)

    def _refine(self, m: Measurement, ran: Flags) -> None:
        """Move the edges of runs that began or ended in this tick from the hop to the sample."""
        for place in np.flatnonzero(self._runs.active & ~ran):
            at = round((self._runs.onset_s[place] - m.start_s) * self._rate_hz)
            lead = m.samples[:at, place]
            if at == 0 and self._before is not None:
                lead = self._before[:, place]
            value = float(m.samples[min(at, len(m.samples) - 1), place])
            still = _still(lead[::-1], value)
            self._runs.onset_s[place] -= still / self._rate_hz
        for place in np.flatnonzero(self._runs.active & ~self._runs.running):
            at = round((self._runs.last_s[place] - m.start_s) * self._rate_hz)
            if 0 < at < len(m.samples):
                still = _still(m.samples[at:, place], float(m.samples[at - 1, place]))
                self._runs.last_s[place] += still / self._rate_hz

    def detail(self, place: int) -> str:
        """What was seen, one line."""
        return "digital zero or a frozen value: no signal arrives at all"


def idle_hops(m: Measurement) -> Flags:
    """Where nothing but an idle converter is left, shape (hops, tracks).

    Idle is: one value all through, a swing inside one least significant bit around it, an AES17
    RMS under -110 dBFS, or in 16-bit material two neighbouring codes only.
    """
    swing = m.peak_max - m.peak_min
    idle = (swing <= 2.0 * _IDLE_AMPLITUDE) | (m.mean_square < _IDLE_MEAN_SQUARE)
    maybe = ~idle & (swing <= 1.01 * _LSB_16)
    if maybe.any():
        hop_frames = len(m.samples) // len(m.valid)
        for hop, place in np.argwhere(maybe):
            codes = m.samples[hop * hop_frames : (hop + 1) * hop_frames, place] * 32768.0
            idle[hop, place] = bool(np.all(codes == np.round(codes)))
    return np.asarray(idle)


def _still(samples: NDArray[np.float32], value: float) -> int:
    """How many of the first samples stay within an idle converter's swing of that value."""
    moved = np.abs(samples - value) > _IDLE_AMPLITUDE
    return int(np.argmax(moved)) if moved.any() else len(samples)
