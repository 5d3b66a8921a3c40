"""For each track the filter that hears a slip best, learned from the track's own sound.

Model: a frame that is lost leaves ten samples whose covariance is that of five and five with one
missing between them; what it is in health is known from the sound of the last seconds. The filter
with the largest ratio of the two powers is the eigenvector of that matrix pencil with the largest
eigenvalue (generalised Rayleigh quotient: G. H. Golub, C. F. Van Loan, Matrix Computations, 8.7;
from memory). The eigenvalue says how well a track shows one lost frame: 1 for white noise, about 30
for the background of a room (ours, measured), thousands where a sound ends far below half the
sample rate; longer slips come out of the same filter, and stronger. Where one frame can't be heard,
the filter is that for a slip so long that the two sides know nothing of each other.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Flags, Levels, Samples
from engine.model.track_memory import TrackMemory, remembered
from engine.model.track_remap import By

SIDE: Final = 5
"""Samples on each side of a slip: six tell no more (ours, measured), and numpy is quickest with
filters of up to eleven taps."""
TAPS: Final = 2 * SIDE
SPAN: Final = TAPS + 1
"""Samples of one observation: both sides, and the one that is lost."""
TURNS: Final = 10
"""One tick in so many is learned from."""
NEWEST: Final = 0.3
"""Share of the newest of them: what was learned goes back about three seconds."""
ROUNDING: Final = 1e-11
"""Least noise beside a sound, in power: filters in single precision add about so much."""

FINE: Final = 3.0
"""From this ratio on a track is listened to for single frames."""

_HEALTHY: Final = np.arange(TAPS)
_APART: Final = np.kron(np.eye(2), np.ones((SIDE, SIDE)))
_TORN: Final = np.concatenate([np.arange(SIDE), np.arange(SIDE + 1, SPAN)])


class SlipFilters(TrackMemory):
    """Learns how neighbouring samples of each track go together, and the filters from that.

    taps : (tracks, TAPS) float32, older samples first
    visible : (tracks,) a slip makes so many times the power of healthy sound; 0: unknown
    inverse : (tracks, SIDE, SIDE) inverse covariance of so many samples in a row
    """

    taps: Samples = remembered(By.ANEW, lambda d: np.zeros((d._tracks, TAPS), dtype=np.float32))
    visible: Levels = remembered(By.ANEW, lambda d: np.zeros(d._tracks))
    inverse: Levels = remembered(By.ANEW, lambda d: np.zeros((d._tracks, SIDE, SIDE)))
    _spread: Levels = remembered(By.ANEW, lambda d: np.zeros((d._tracks, SPAN, SPAN)))
    _ticks: NDArray[np.int64] = remembered(By.ANEW, lambda d: np.zeros(d._tracks, dtype=np.int64))
    _turn: int = remembered(By.ANEW, 0)

    def __init__(self, tracks: int) -> None:
        self._tracks = tracks
        self.reset()

    @property
    def turns_left(self) -> int:
        """The filters may change with so many ticks more."""
        return TURNS - self._turn

    def learn(self, channels: Samples, which: NDArray[np.int64], live: Flags) -> bool:
        """Take in one tick, shape (channels, frames): of the channels `which` those that are live.

        Whether the filters are others now.
        """
        self._turn = (self._turn + 1) % TURNS
        if self._turn:
            return False
        rows = indices(live)
        if not len(rows):
            return False
        blocks = channels.shape[1] // SPAN
        x = (
            channels[which[rows], : blocks * SPAN]
            .reshape(len(rows), blocks, SPAN)
            .astype(np.float64)
        )
        spread = x.swapaxes(1, 2) @ x
        # Each tick counts the same by its treble, where slips are heard: a loud word would hide for
        # seconds what the room sounds like.
        inner = spread[:, :-1, :-1] + spread[:, 1:, 1:] - 2.0 * spread[:, :-1, 1:]
        treble = np.trace(inner, axis1=1, axis2=2)
        spread /= np.maximum(treble, 1e-30)[:, None, None]
        share = np.maximum(NEWEST, 1.0 / (1.0 + self._ticks[rows]))[:, None, None]
        self._spread[rows] += share * (spread - self._spread[rows])
        self._ticks[rows] += 1
        self._work_out(rows)
        return True

    def _work_out(self, rows: NDArray[np.int64]) -> None:
        spread = self._spread[rows]
        # Blocks begin anywhere, so each sample of one is like any other.
        power = np.trace(spread, axis1=1, axis2=2) / SPAN
        spread = spread + (ROUNDING * power)[:, None, None] * np.eye(SPAN)
        healthy = spread[:, _HEALTHY[:, None], _HEALTHY]
        torn = spread[:, _TORN[:, None], _TORN]
        root = np.linalg.cholesky(healthy)
        powers, taps = _best(root, torn)
        coarse = powers < FINE
        if any_of(coarse):
            powers[coarse], taps[coarse] = _best(root[coarse], (healthy * _APART)[coarse])
        self.taps[rows], self.visible[rows] = taps, powers
        self.inverse[rows] = np.linalg.inv(spread[:, :SIDE, :SIDE])


def _best(root: Levels, torn: Levels) -> tuple[Levels, Levels]:
    """Largest ratio of power torn to healthy, (rows,), and its filter, (rows, TAPS); `root` is the
    Cholesky factor of the healthy covariance, and both are (rows, TAPS, TAPS)."""
    half = np.linalg.solve(root, torn)
    pencil = np.linalg.solve(root, half.swapaxes(1, 2))
    powers, vectors = np.linalg.eigh(0.5 * (pencil + pencil.swapaxes(1, 2)))
    taps = np.linalg.solve(root.swapaxes(1, 2), vectors[:, :, -1:])[:, :, 0]
    return powers[:, -1], taps / taps[:, SIDE, None]
