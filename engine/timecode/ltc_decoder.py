"""LTC in: samples of one track to timecode frames.

Edges are timed where the sound crosses the middle between the highest and the lowest sample
around it (so that level, DC and hum do not matter), with hysteresis against noise. An edge comes
at every bit's boundary, and in the middle of each 1: so the times between edges are whole or half
bits, and a frame is found by its sync word. Polarity carries nothing.

Source: SMPTE ST 12-1, as libltc's header states it; the method is ours.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.messages import Samples
from engine.model.timecode_frames import CodeFrame
from engine.timecode.ltc_encoder import BITS, DROP_BIT, FIELD_BITS, SYNC, USER_BITS

CHUNK_S: Final = 0.1
"""Sound is always cut at the same places, so that blocks of any length give the same answer."""

ENVELOPE_S: Final = 1.6e-3
"""Both polarities come at least this often: a 0 lasts 0.55 ms at 24 frames a second, 5 % slow."""

SMOOTH_S: Final = 60e-6
"""A mean over this takes noise off, and leaves the shortest half bit (0.2 ms) whole."""

HYSTERESIS: Final = 0.25
"""Of half the way from lowest to highest."""

QUIETEST: Final = 1e-3
"""Below this amplitude (-60 dBFS) there is no code, only noise."""

REFINE_S: Final = 80e-6
"""Noise crosses the middle several times around one edge, within this."""

HALF_BIT_S: Final = 240e-6
BETWEEN_S: Final = 330e-6
SHORTEST_S, LONGEST_S = 150e-6, 700e-6
"""Half bits last 198 to 274 µs, whole bits 397 to 549 µs: 30 frames a second 5 % fast to 23.976
5 % slow."""

FEWEST: Final = 20
"""Edges in a chunk from which the length of a bit is measured anew."""

_WORD: Final = 2 * BITS
"""Half bits in a frame."""


def _cells(bits: tuple[int, ...]) -> bytes:
    """Where edges are, half bit by half bit, from the first boundary to the last."""
    return bytes(cell for bit in bits for cell in (1, bit)) + b"\1"


_SYNC: Final = _cells(SYNC)
_CNYS: Final = _SYNC[::-1]
_KEPT: Final = _WORD + len(_SYNC)


class LtcDecoder:
    """One track's code; feed it samples, get frames about a tick later at most.

    Parameters
    ----------
    sample_rate_hz : int
        At least 16000; below that a half bit has too few samples, and nothing is found.
    """

    def __init__(self, sample_rate_hz: int) -> None:
        self._rate_hz = sample_rate_hz
        self._chunk = 10 * max(1, round(sample_rate_hz * CHUNK_S / 10))
        self._smooth = 2 * int(SMOOTH_S * sample_rate_hz / 2) + 1
        self._envelope = 2 * round(ENVELOPE_S * sample_rate_hz / 2) + 1
        self._margin = self._smooth // 2 + self._envelope // 2
        self._before = max(3, round(REFINE_S * sample_rate_hz))
        self._position = 0
        self.reset()

    def reset(self) -> None:
        """Forget the sound heard so far; positions go on being counted."""
        lead = self._before + 2 * self._margin
        self._rest = np.zeros(lead, dtype=np.float32)
        self._rest_at = self._position - lead
        self._high: bool | None = None
        self._last_edge = -np.inf
        self._half = HALF_BIT_S * self._rate_hz
        self._edge = np.zeros(0, dtype=np.uint8)
        self._time = np.zeros(0)

    def skip(self, frames: int) -> None:
        """So many audio frames were lost: count them, and begin anew."""
        if frames:
            self._position += frames
            self.reset()

    def update(self, samples: Samples) -> list[CodeFrame]:
        """The frames that ended in the sound up to now, in order.

        Parameters
        ----------
        samples : ndarray of float32, shape (frames,)
            Any number of audio frames, all numbers; lost ones are zero.
        """
        self._position += len(samples)
        self._rest = np.concatenate([self._rest, samples])
        frames: list[CodeFrame] = []
        lead = self._before + self._margin
        while len(self._rest) >= lead + self._chunk + self._margin:
            part = self._rest[: lead + self._chunk + self._margin]
            times = self._edges(part)
            if len(times):
                frames += self._take_in(times)
            self._rest = self._rest[self._chunk :]
            self._rest_at += self._chunk
        return frames

    def _edges(self, part: Samples) -> NDArray[np.float64]:
        """Where edges are in one chunk, in audio frames since the stream began."""
        reach = self._envelope // 2
        smooth = part[: len(part) - self._smooth + 1].copy()
        for later in range(1, self._smooth):
            smooth += part[later : later + len(smooth)]
        smooth *= np.float32(1.0 / self._smooth)
        top, bottom = (
            _sliding(np.maximum, smooth, self._envelope),
            _sliding(np.minimum, smooth, self._envelope),
        )
        off = smooth[reach:-reach] - np.float32(0.5) * (top + bottom)
        least = np.float32(0.5 * HYSTERESIS) * (top - bottom)
        np.maximum(least, np.float32(HYSTERESIS * QUIETEST), out=least)
        # 1 well above the middle, -1 well below, 0 between; then the begins of the first two.
        far = (off > least).view(np.int8) - (off < -least).view(np.int8)
        far[: self._before] = 0
        begins = np.flatnonzero(far[1:] != far[:-1]) + 1
        begins = begins[far[begins] != 0]
        if not len(begins):
            return np.zeros(0)
        high = far[begins] > 0
        before = np.concatenate([[not high[0] if self._high is None else self._high], high[:-1]])
        self._high = bool(high[-1])
        return self._rest_at + self._margin + self._crossings(off, begins[high != before])

    def _crossings(self, off: Samples, edges: NDArray[np.int64]) -> NDArray[np.float64]:
        """Where the sound crosses the middle on its way to each of those edges.

        Noise may cross it several times: then the mean of the first and the last.
        """
        above = off >= 0.0
        crossing = np.flatnonzero(above[1:] != above[:-1])
        if not len(crossing) or not len(edges):
            return edges.astype(np.float64)
        a, b = off[crossing].astype(np.float64), off[crossing + 1].astype(np.float64)
        at = crossing + a / (a - b)
        last = np.searchsorted(crossing, edges) - 1
        first = np.searchsorted(crossing, edges - self._before)
        near = first <= last  # else it came out of silence: no crossing belongs to it
        first, last = np.where(near, first, 0), np.where(near, last, 0)
        return np.where(near, 0.5 * (at[first] + at[last]), edges)

    def _take_in(self, times: NDArray[np.float64]) -> list[CodeFrame]:
        """Add edges to the half bits kept, and read the frames that they complete."""
        gaps = times - np.concatenate([[self._last_edge], times[:-1]])
        self._last_edge = float(times[-1])
        steps = self._half_bits(gaps)
        ends = np.cumsum(steps) - 1
        edge = np.zeros(int(ends[-1]) + 1, dtype=np.uint8)
        time = np.zeros(len(edge))
        edge[ends], time[ends] = 1, times
        old = len(self._edge)
        self._edge = np.concatenate([self._edge, edge])
        self._time = np.concatenate([self._time, time])
        frames = self._frames(old)
        self._edge, self._time = self._edge[-_KEPT:], self._time[-_KEPT:]
        return frames

    def _half_bits(self, gaps: NDArray[np.float64]) -> NDArray[np.int64]:
        """How many half bits lie between edges: 1 or 2; 3 stands for a gap or a glitch."""
        rate = self._rate_hz
        usual = gaps[(gaps > SHORTEST_S * rate) & (gaps < LONGEST_S * rate)]
        if len(usual) >= FEWEST:
            halves = len(usual) + np.count_nonzero(usual > BETWEEN_S * rate)
            self._half = float(usual.sum()) / halves
        steps = np.rint(np.minimum(gaps / self._half, 3.0)).astype(np.int64)
        steps[steps == 0] = 3
        return steps

    def _frames(self, old: int) -> list[CodeFrame]:
        """Frames whose last half bit is not among the first `old` ones, in order."""
        cells = self._edge.tobytes()
        frames = []
        for pattern, to_start, to_end in ((_SYNC, _WORD + 1 - len(_SYNC), len(_SYNC) - 1),
                                          (_CNYS, 0, _WORD)):  # fmt: skip
            at = cells.find(pattern)
            while at >= 0:
                start, end = at - to_start, at + to_end
                if start >= 0 and old <= end < len(cells):
                    frames.append(self._frame(start, end, reverse=pattern is _CNYS))
                at = cells.find(pattern, at + 1)
        return sorted((f for f in frames if f is not None), key=lambda f: f.start_frames)

    def _frame(self, start: int, end: int, *, reverse: bool) -> CodeFrame | None:
        """The frame between two boundaries; None where it is damaged."""
        edge = self._edge[start : end + 1]
        if not edge[::2].all():
            return None
        bits = edge[1::2][::-1] if reverse else edge[1::2]
        word = int.from_bytes(np.packbits(bits, bitorder="little").tobytes(), "little")
        digits = [word >> first & ((1 << width) - 1) for first, width in FIELD_BITS]
        f, s, m, h = (units + 10 * tens for units, tens in zip(*[iter(digits)] * 2, strict=True))
        if max(digits) > 9 or f > 29 or s > 59 or m > 59 or h > 23:
            return None
        begin = float(self._time[start])
        user = sum((word >> first & 0xF) << 4 * n for n, first in enumerate(USER_BITS))
        drop = bool(word >> DROP_BIT & 1)
        length = float(self._time[end]) - begin
        return CodeFrame(h, m, s, f, drop, user, begin, length, reverse)


def _sliding(choose: np.ufunc, x: Samples, width: int) -> Samples:
    """The chosen of each `width` values in a row; twice as wide each step, so in few passes."""
    done = 1
    while done < width:
        step = min(done, width - done)
        x = choose(x[:-step], x[step:])
        done += step
    return x
