"""Gaps, bursts and pops too short for an alarm, counted by track in one tick.

- A gap: for 3 ms and more the sound, brought down to 2 kHz, lies over 20 dB under that track's own
  quiet, and so do the steps of its steps: for a place rumbles, and a wave of 50 Hz is that low for
  3 ms whenever it is weak for a moment (by simulation twice a second where a rumble stands 30 dB
  over the rest; with its steps once in ten minutes). White noise at the quiet does it about as
  rarely (chi-square, 6 degrees of freedom); a link that fades for a moment does it each time.
- A burst: outside of speech a hop as bright as white noise (its steps from sample to sample carry
  as much as the sound itself; white noise twice) and 6 dB over the bright noise of before. An s is
  nearly as bright, but lasts, and both packs of its performer hear it: a burst is at most two hops
  long and on one of them. What lasts longer is an alarm's business.
- A pop: an electrical step, for a contact that opens jumps within a sample or two, while what comes
  through air and a capsule rings for milliseconds: a hop with eight times the treble of the hops
  round it, half of which lies in seven samples. In white noise seven of 480 hold a hundredth.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.early_signs.known_values import quantile
from engine.model.messages import Flags, Levels, Measurement
from engine.model.track_memory import TrackMemory, per_track, remembered
from engine.model.track_remap import By
from engine.model.units import mean_square_at

GAP_SAMPLES: Final = 6
GAP_POWER: Final = 10.0**-2.3
GAP_STEP_SAMPLES: Final = 4
GAP_STEP_POWER: Final = 10.0**-2.0
BURST_POWER: Final = 10.0**0.6
BRIGHT: Final = 0.8
POP_STANDS_OUT: Final = 8.0
POP_SHARE: Final = 0.5
POP_WIDTH: Final = 3
"""Samples on each side of the step, at 48 kHz."""
POP_LEAST: Final = 0.005
"""Full scale 1.0: a quarter of what an alarm counts. Ours."""
QUIET_TICKS: Final = 100
LEARN_TICKS: Final = 20
_AUDIBLE: Final = float(mean_square_at(-95.0))
"""Nothing under this is a mic in a place (common practice, no source)."""


_NO_PAIRS: Final = np.empty((0, 2), dtype=np.int64)


class ShortEvents(TrackMemory):
    """Counts them tick by tick; remembers what each track is in its quiet, for 10 s.

    Parameters
    ----------
    tracks : int
    pairs : (n, 2) int
        Indices of the two packs of each performer with both.
    """

    _low: Levels = per_track(np.nan, rows=QUIET_TICKS)
    _step: Levels = per_track(np.nan, rows=QUIET_TICKS)
    _bright: Levels = per_track(np.nan, rows=QUIET_TICKS)
    _last_hits: Flags = per_track(False, rows=2)
    _tick: int = remembered(By.WHOLE, 0)
    _low_quiet: Levels = per_track(np.nan)
    _step_quiet: Levels = per_track(np.nan)
    _bright_quiet: Levels = per_track(np.nan)

    def __init__(self, tracks: int, pairs: NDArray[np.int64] = _NO_PAIRS) -> None:
        self._tracks = tracks
        self._pairs = pairs
        self.reset()

    def count(self, m: Measurement) -> tuple[NDArray[np.int64], ...]:
        """Gaps, bursts and pops of that tick, each of shape (tracks,)."""
        square = np.square(m.decimated, dtype=np.float32)
        step = np.square(np.diff(m.decimated, n=2, axis=1), dtype=np.float32)
        gaps, bursts, pops = self._gaps(square, step), self._bursts(m), _pops(m)
        self._remember(square.mean(axis=1), step.mean(axis=1), m)
        return gaps, bursts, pops

    def _remember(
        self, low: NDArray[np.float32], step: NDArray[np.float32], m: Measurement
    ) -> None:
        row = self._tick % QUIET_TICKS
        self._low[row] = low
        self._step[row] = step
        self._bright[row] = np.where(_voiced(m), np.nan, m.difference_energy.mean(axis=0))
        self._tick += 1
        if self._tick % LEARN_TICKS == 0:
            self._low_quiet = quantile(self._low, 0.1)
            self._step_quiet = quantile(self._step, 0.1)
            self._bright_quiet = quantile(self._bright, 0.5)

    def _gaps(self, square: NDArray[np.float32], step: NDArray[np.float32]) -> NDArray[np.int64]:
        low = _running_mean(square, GAP_SAMPLES) < (GAP_POWER * self._low_quiet)[:, None]
        still = _running_mean(step, GAP_STEP_SAMPLES) < (GAP_STEP_POWER * self._step_quiet)[:, None]
        low &= still[:, : low.shape[1]]  # the steps inside the same three milliseconds
        begins = low[:, 1:] & ~low[:, :-1]
        whole = self._low_quiet > _AUDIBLE
        return np.where(whole, begins.sum(axis=1), 0)

    def _lasting(self, hit: Flags) -> Flags:
        """Hops of a run of three and more, and of one that may go on in the next tick."""
        joined = np.concatenate([self._last_hits, hit, hit[-1:], hit[-1:]])
        self._last_hits = hit[-2:].copy()
        return _in_threes(joined)[2:-2]

    def _bursts(self, m: Measurement) -> NDArray[np.int64]:
        bright = _bright(m)
        high = m.difference_energy > BURST_POWER * self._bright_quiet
        hit = np.asarray(bright & high & ~_voiced(m) & m.valid)
        heard = np.asarray(hit.any(axis=0))
        both = self._pairs[heard[self._pairs].all(axis=1)]
        hit[:, both.ravel()] = False
        hit &= ~self._lasting(hit)
        first = hit.copy()
        first[1:] &= ~hit[:-1]
        return np.asarray(first.sum(axis=0))


def _in_threes(hit: Flags) -> Flags:
    """Hops that belong to three and more in a row."""
    middle = hit[:-2] & hit[1:-1] & hit[2:]
    lasting = np.zeros_like(hit)
    for n in range(3):
        lasting[n : len(hit) - 2 + n] |= middle
    return lasting


def _running_mean(power: NDArray[np.float32], samples: int) -> Levels:
    total = np.cumsum(power, axis=1, dtype=np.float64)
    total = np.concatenate([np.zeros((len(power), 1)), total], axis=1)
    return np.asarray((total[:, samples:] - total[:, :-samples]) / samples)


def _bright(m: Measurement) -> Flags:
    """Hops as bright as noise from a link."""
    return np.asarray(m.difference_energy > BRIGHT * m.mean_square)


def _voiced(m: Measurement) -> Flags:
    """Tracks on which somebody speaks in that tick."""
    return np.asarray((m.speech & ~_bright(m)).any(axis=0))


def _pops(m: Measurement) -> NDArray[np.int64]:
    energy = m.difference_energy
    count = np.zeros(energy.shape[1], dtype=np.int64)
    if not len(m.samples):
        return count
    frames = len(m.samples) // len(energy)
    usual = np.sort(energy, axis=0)[len(energy) // 2]
    out = (energy > POP_STANDS_OUT * usual) & (energy * frames > POP_LEAST**2) & m.valid
    width = max(POP_WIDTH, round(POP_WIDTH * frames / (48_000 * m.hop_s)))
    for hop, track in np.argwhere(out):
        steps = np.square(np.diff(m.samples[hop * frames : (hop + 1) * frames, track]))
        top = int(steps.argmax())
        here = steps[max(top - width, 0) : top + width + 1].sum()
        count[track] += here > POP_SHARE * steps.sum() and steps[top] > POP_LEAST**2
    return count
