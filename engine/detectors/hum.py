"""Hum: the mains at 50 or 60 Hz with its harmonics, steady through speech and pauses.

Model: lines at whole multiples of one frequency, within 1 % of 50 or 60 Hz on a grid and within
2 % on a generator (EN 50160, second-hand), that hold amplitude and phase for seconds: a ground
loop brings the even, a coil near a transformer the odd ones (common practice, no source). A voice
between 85 and 255 Hz wanders and pauses, and no note of equal temperament on A = 440 Hz lies
within 1.2 % of a low mains line (G1 and G2 lie 2.0 % under 50 and 100 Hz). The level is the AES17
RMS of the lines added together, unweighted.

Looked for twice a second in a spectrum of the newest 1.5 s; what stands out there is then followed
sample by sample, with the mains frequency it has, over the last 2.6 s.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar, Final

import numpy as np
from numpy.typing import NDArray

from engine.detectors.base import Feed, condition, unknown
from engine.detectors.mains_spectra import GENERATOR, MAINS_HZ, WINDOW_S, MainsSpectra
from engine.detectors.slow import Slow
from engine.model import Condition, Fault, Flags, Levels, Measurement
from engine.places import By
from engine.tracks import Scene
from engine.units import rms_dbfs

LEAST_DBFS: Final = -68.0
"""Fainter lines spoil no track."""
RISE_DB: Final = 6.0
"""Contract: accepted hum is normal until it rises by this much."""
LINES: Final = 10
GRID: Final = 0.012
"""Largest relative deviation of a grid: EN 50160's 1 % and a little for the measuring."""
FOLLOWED_S: Final = 2.6
HOLD_S: Final = 3.0
"""Speech may hide the lines that long before the hum counts as gone."""

_KEPT_S: Final = 6.0
_STEP_S: Final = 0.2
_COHERENT: Final = 0.75
ALONE: Final = 0.9
"""Share of the followed time in which a line is steady: with others, and a line alone."""
_EVERY: Final = 5
NEAR: Final = 0.35
LOOSE: Final = 0.6
"""A steady line stays this near to its median, relative, to be believed and once it was."""
STRONG_DBFS: Final = -52.0
PAUSE_STEPS: Final = 3
QUIET_DB: Final = 6.0
ABOVE_HUM_DB: Final = 3.0
"""Weaker hum must be seen in pauses, of 0.6 s in all: a voice may carry hum of its own, as one
played from a recording does, which comes and goes with the words."""
LEAST_SHARE: Final = 0.003
"""Lines with a smaller share of the power do not tell what it is."""
AGREE: Final = 0.004
"""Two spectra in a row must suggest the same frequency, relative."""


@dataclass(frozen=True, slots=True, eq=False)
class AcceptedHum:
    """AES17 RMS of the hum that is normal on each track, dBFS, shape (tracks,); -inf: none."""

    normal_dbfs: Levels


@dataclass(frozen=True, slots=True)
class _Seen:
    """Hum of one track: mains frequency, AES17 RMS of its lines, and the strongest line.

    Without its fundamental, which lies under all voices, it must be seen twice in a row.
    """

    mains_hz: float
    level_dbfs: float
    line: int
    fundamental: bool


class Hum:
    """Follows mains lines; looks twice a second."""

    CARRIED: ClassVar = {
        "_normal_dbfs": By.FIRST,
        "_sound": By.FIRST,
        "_end": By.WHOLE,
        "_heard_s": By.FIRST,
        "_held": By.EACH,
        "_passes": By.FIRST,
        "_hint_hz": By.FIRST,
        "_seen": By.FIRST,
        "_active": By.FIRST,
        "_onset_s": By.FIRST,
        "_last_s": By.FIRST,
        "_level_dbfs": By.FIRST,
    }

    def __init__(self, scene: Scene) -> None:
        self._watched = scene.watched(Fault.HUM)
        self._red_dbfs = scene.numbers("hum_red_dbfs")
        self._tracks = len(scene.tracks)
        self._slow = Slow(scene.sample_rate_hz)
        self._spectra = MainsSpectra(self._slow.rate_hz)
        self._normal_dbfs = np.full(self._tracks, -np.inf)
        self.reset()

    def reset(self) -> None:
        """Forget the sound, keep the scene and what was accepted."""
        kept = round(_KEPT_S * self._slow.rate_hz)
        self._sound = np.zeros((self._tracks, 2 * kept), dtype=np.float32)
        self._end = kept
        self._kept = kept
        self._heard_s = np.zeros(self._tracks)
        self._held: list[NDArray[np.float32]] = []
        self._passes = np.zeros(self._tracks, dtype=np.int64)
        self._hint_hz = np.full(self._tracks, np.nan)
        self._seen: list[_Seen | None] = [None] * self._tracks
        self._active = np.zeros(self._tracks, dtype=np.bool_)
        self._onset_s = np.full(self._tracks, np.nan)
        self._last_s = np.full(self._tracks, -np.inf)
        self._level_dbfs = np.full(self._tracks, -np.inf)

    @property
    def learned(self) -> AcceptedHum:
        """What the crew accepted, for a later start."""
        return AcceptedHum(self._normal_dbfs.copy())

    def learn(self, learned: AcceptedHum) -> None:
        """Take over what an earlier watch of the same tracks accepted."""
        self._normal_dbfs = learned.normal_dbfs.copy()

    def accept(self, place: int) -> None:
        """The hum heard now on that track is normal until it rises by 6 dB."""
        if self._active[place]:
            self._normal_dbfs[place] = self._level_dbfs[place]
            self._active[place] = False

    def update(self, measurement: Measurement | None, feed: Feed) -> Condition:
        """Active while mains lines stand in the track."""
        if measurement is None:
            return unknown(self._tracks)
        m = measurement
        self._held.append(self._slow.of(m))
        self._heard_s += m.end_s - m.start_s
        if len(self._held) == _EVERY:
            self._push(np.concatenate(self._held, axis=1))
            self._held = []
            places = np.flatnonzero(self._watched & (self._heard_s >= WINDOW_S))
            if len(places):
                self._look(places, m.end_s)
        self._active &= m.end_s - self._last_s <= HOLD_S
        known = m.heard & self._watched
        red = self._level_dbfs > self._red_dbfs
        return condition(self._active & known, known, self._onset_s, self._last_s, red)

    def _push(self, slow: NDArray[np.float32]) -> None:
        count = slow.shape[1]
        if self._end + count > self._sound.shape[1]:
            self._sound[:, : self._kept] = self._sound[:, self._end - self._kept : self._end]
            self._end = self._kept
        self._sound[:, self._end : self._end + count] = slow
        self._end += count

    def _newest(self, seconds: float) -> slice:
        return slice(self._end - round(seconds * self._slow.rate_hz), self._end)

    def _look(self, places: NDArray[np.int64], now_s: float) -> None:
        hints = self._spectra.mains_hz(self._sound[places, self._newest(WINDOW_S)])
        for place, hint_hz in zip(places, hints, strict=True):
            before_hz = self._hint_hz[place]
            self._hint_hz[place] = hint_hz
            seen = self._seen[place]
            if seen is not None:
                hint_hz = seen.mains_hz
            elif not abs(hint_hz / before_hz - 1.0) < AGREE:
                continue
            self._take(int(place), self._follow(int(place), float(hint_hz)), now_s)

    def _take(self, place: int, seen: _Seen | None, now_s: float) -> None:
        if seen is None or seen.level_dbfs < self._least_dbfs(place):
            self._passes[place] = 0
            if now_s - self._last_s[place] > HOLD_S:
                self._seen[place] = None
            return
        self._passes[place] += 1
        if not self._active[place] and self._passes[place] < (1 if seen.fundamental else 2):
            return
        if not self._active[place]:
            self._onset_s[place] = now_s - self._since_s(place, seen)
        self._active[place] = True
        self._seen[place] = seen
        self._last_s[place] = now_s
        self._level_dbfs[place] = seen.level_dbfs

    def _least_dbfs(self, place: int) -> float:
        return max(LEAST_DBFS, float(self._normal_dbfs[place]) + RISE_DB)

    def _follow(self, place: int, mains_hz: float) -> _Seen | None:
        """The lines that hold amplitude and phase over the followed time, if they make a hum."""
        z, mains_hz = self._lines(place, mains_hz)
        middle = np.median(z.real, axis=0) + 1j * np.median(z.imag, axis=0)
        reach = NEAR if self._seen[place] is None else LOOSE
        near = np.abs(z - middle) < reach * np.abs(middle)
        share = near.mean(axis=0)
        steady = share >= _COHERENT
        if np.count_nonzero(steady) == 1 and self._seen[place] is None:
            steady = share >= ALONE
        amplitude = np.abs(middle) / self._slow.gain(mains_hz * np.arange(1, LINES + 1))
        power = np.where(steady, amplitude**2, 0.0)
        nominal = min(MAINS_HZ, key=lambda hz: abs(mains_hz - hz))
        off = abs(mains_hz / nominal - 1.0)
        if not _is_mains(np.flatnonzero(power > LEAST_SHARE * power.sum()) + 1, off):
            return None
        level_dbfs = float(10.0 * np.log10(max(power.sum(), 1e-30)))
        if self._seen[place] is None and not self._holds_in_pauses(
            place, level_dbfs, near[:, steady]
        ):
            return None
        return _Seen(mains_hz, level_dbfs, int(np.argmax(power)) + 1, bool(steady[0]))

    def _holds_in_pauses(self, place: int, level_dbfs: float, near: Flags) -> bool:
        """Whether the lines were seen while nothing else was loud; strong ones need no pause.

        `near` has shape (steps, lines). A pause is what lies little over the hum, or over the
        quietest tenth of the last seconds.
        """
        if level_dbfs > STRONG_DBFS:
            return True
        sound = self._sound[
            place, self._newest(float(np.clip(self._heard_s[place], FOLLOWED_S, _KEPT_S)))
        ]
        step = round(_STEP_S * self._slow.rate_hz)
        power = np.square(sound[len(sound) % step :].reshape(-1, step)).mean(axis=1)
        levels_dbfs = rms_dbfs((power[1:] + power[:-1]) / 2.0)
        limit_dbfs = max(
            float(np.percentile(levels_dbfs, 10.0)) + QUIET_DB, level_dbfs + ABOVE_HUM_DB
        )
        pause = levels_dbfs[-len(near) :] < limit_dbfs
        return int(np.count_nonzero(pause)) >= PAUSE_STEPS and bool(near[pause].mean() >= _COHERENT)

    def _lines(self, place: int, mains_hz: float) -> tuple[NDArray[np.complex128], float]:
        """Complex amplitude of each line in steps of 0.2 s, shape (steps, lines).

        The mains frequency is corrected by how the phase of the strongest line moves on.
        """
        z = self._steps(place, mains_hz, np.arange(1, LINES + 1), FOLLOWED_S)
        strongest = int(np.argmax(np.median(np.abs(z), axis=0)))
        turn = np.angle(np.sum(z[1:, strongest] * np.conj(z[:-1, strongest])))
        by_line = turn / (strongest + 1) * np.arange(1, LINES + 1)
        z = z * np.exp(-1j * np.outer(np.arange(len(z)), by_line))
        return z, mains_hz + turn / (strongest + 1) / (2.0 * np.pi * _STEP_S)

    def _steps(
        self, place: int, mains_hz: float, lines: NDArray[np.int64], seconds: float
    ) -> NDArray[np.complex128]:
        rate_hz = self._slow.rate_hz
        step, length = round(_STEP_S * rate_hz), round(2.0 * _STEP_S * rate_hz)
        sound = self._sound[place, self._newest(seconds)]
        pieces = np.ascontiguousarray(
            np.lib.stride_tricks.sliding_window_view(sound, length)[::step]
        )
        turn = -2j * np.pi * mains_hz / rate_hz
        powers = np.cumprod(
            np.broadcast_to(np.exp(turn * np.arange(length)), (int(lines.max()), length)), axis=0
        )
        basis = (powers[lines - 1] * _taper(length)).astype(np.complex64)
        # Real and imaginary part as columns of one real product.
        z = (pieces @ basis.view(np.float32).reshape(len(lines), length, 2)).view(np.complex64)
        starts = np.exp(turn * step * np.outer(np.arange(len(pieces)), lines))
        return np.asarray(z[:, :, 0].T * starts)

    def _since_s(self, place: int, seen: _Seen) -> float:
        """How long ago the strongest line began, s."""
        seconds = float(min(self._heard_s[place], _KEPT_S))
        z = self._steps(place, seen.mains_hz, np.array([seen.line]), seconds)[:, 0]
        newest = z[-round(FOLLOWED_S / _STEP_S / 2) :]
        size = np.median(np.abs(newest))
        good, begin, last = 0, 0, newest[-1]
        for back, value in enumerate(z[::-1], start=1):
            if abs(value - last) < LOOSE * size and abs(abs(value) - size) < LOOSE * size:
                good, last = good + 1, value
                if good >= _COHERENT * back:
                    begin = back
        return seconds if begin == len(z) else (begin + 1) * _STEP_S

    def detail(self, place: int) -> str:
        """What was seen, one line."""
        seen = self._seen[place]
        if seen is None:
            return "mains hum"
        level = f"{seen.level_dbfs:.0f}".replace("-", "\u2212")
        return f"mains hum at {seen.mains_hz:.1f} Hz, {level} dBFS"


def _is_mains(lines: NDArray[np.int64], off: float) -> bool:
    """Whether those multiples of a frequency that far from nominal are a hum, and no music."""
    if off > GRID:
        return off <= GENERATOR and len(lines) >= 3 and lines[0] == 1
    return len(lines) > 0 and bool(lines[0] <= (2 if len(lines) == 1 else 3))


def _taper(length: int) -> NDArray[np.float64]:
    """A Hann window of that length, scaled so that a sine gives its amplitude."""
    window = np.hanning(length + 2)[1:-1]
    return np.asarray(2.0 * window / window.sum())
