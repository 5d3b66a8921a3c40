"""How far mains lines stand out of the sound beside them, over ten seconds.

Second by second the lines at 50 or 60 Hz and at twice and three times that are measured with
their phases, and the sound 5 and 7 Hz beside them (Hann windows: a line 1 Hz off is 1.4 dB low;
textbook). The seconds of a period are added in phase, each weighed by the inverse of the sound
beside the line, as the best estimate of a steady line in noise is (textbook: weighted least
squares): what is said meanwhile hardly counts. Ten seconds show a line 10 dB weaker than one does.
Mains wander by some hundredths of a hertz, so a few frequencies are tried. A voice whose pitch lies
at a line leaves the sound beside it quiet, but has another phase each second: what remains of the
seconds once the steady line is taken off is held to be noise as well (the harmonic F-test of D. J.
Thomson, Proc. IEEE 70 (1982), 1055-1096; from memory).
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from engine.model.flag_arrays import count_of
from engine.model.messages import Levels, Samples
from engine.model.units import power_db

_MAINS_HZ: Final = (50.0, 60.0)
_LINES: Final = (1, 2, 3)
_BESIDE_HZ: Final = (-7.0, -5.0, 5.0, 7.0)
_OFF_HZ: Final = tuple(0.015 * n for n in range(-6, 7))
"""Of the first line. Grids are held within 0.05 Hz nearly always (common practice, no source)."""
WANDERS: Final = 0.3
"""So much of a line's power may remain unsteady: the third line half-way between two of the
frequencies that are tried turns by 0.64 rad to each side, which leaves 0.15 of it (calculated); the
rest is the grid's."""
ROWS: Final = len(_MAINS_HZ) * len(_LINES)
"""Lines of both mains."""


class MainsLevel:
    """Made for windows of that many samples at that rate."""

    def __init__(self, rate_hz: float, frames: int) -> None:
        t = np.arange(frames) / rate_hz
        window = np.hanning(frames)
        # Cosines and sines side by side, shape (frames, 2 frequencies): one real product.
        self._lines, self._beside = (
            np.concatenate([_waves(np.cos, f, t, window), _waves(np.sin, f, t, window)], axis=1)
            for f in (_frequencies((0.0,)), _frequencies(_BESIDE_HZ))
        )

    def measure(self, sound: Samples) -> tuple[NDArray[np.complex128], NDArray[np.float64]]:
        """Each line with its phase, and the mean power beside it, of shape (`ROWS`, tracks) both.

        `sound` has shape (tracks, frames).
        """
        lines, beside = _complex(sound, self._lines), _complex(sound, self._beside)
        power = np.square(np.abs(beside)).reshape(len(sound), ROWS, len(_BESIDE_HZ)).mean(axis=2)
        return lines.T, power.T


def prominence_db(
    lines: NDArray[np.complex128], beside: NDArray[np.float64], second_s: float = 1.0
) -> Levels:
    """The lines of the stronger mains over what noise gives, shape (tracks,); 0 at least.

    Both of shape (seconds, `ROWS`, tracks), as measured second by second, `second_s` apart.
    """
    shape = (len(lines), len(_MAINS_HZ), len(_LINES), -1)
    known = np.isfinite(beside)
    noise = np.where(known, beside, 0.0).reshape(shape)
    # Four bins say little of one second: the second quietest keeps the quietest from saying all.
    usual = np.sort(beside, axis=0)[min(1, len(beside) - 1)].reshape(shape[1:])
    weight = known.reshape(shape) / np.maximum(noise + usual, 1e-30)
    turns = np.outer(_OFF_HZ, second_s * np.arange(len(lines)))[..., None] * np.array(_LINES)
    phases = np.exp(2j * np.pi * turns)  # (offsets, seconds, lines)
    added = np.einsum("osn,smnt->omnt", phases, lines.reshape(shape) * weight)
    chance = (np.square(weight) * noise).sum(axis=0)
    chance = np.maximum(chance, _unsteady(lines.reshape(shape), weight, phases, added))
    # Of noise alone each line has a mean of 1.
    power = np.square(np.abs(added)) / np.maximum(chance, 1e-300)
    return np.maximum(power_db(power.mean(axis=2).max(axis=(0, 1))), 0.0)


def _unsteady(
    lines: NDArray[np.complex128],
    weight: Levels,
    phases: NDArray[np.complex128],
    added: NDArray[np.complex128],
) -> Levels:
    """What of the weighed seconds is no steady line, as `added`: one estimate is taken off."""
    steady = added / np.maximum(weight.sum(axis=0), 1e-300)
    square = np.square(weight)
    common = np.einsum("osn,smnt->omnt", phases, lines * square)
    left = np.square(np.abs(steady)) * square.sum(axis=0)
    left += (square * np.square(np.abs(lines))).sum(axis=0)
    left -= 2.0 * np.real(np.conj(steady) * common)
    left -= WANDERS * np.square(np.abs(steady)) * square.sum(axis=0)
    number = np.maximum(count_of(weight > 0.0, axis=0), 2)
    return np.asarray(np.maximum(left, 0.0) * number / (number - 1))


def _frequencies(beside: tuple[float, ...]) -> list[float]:
    return [n * mains + off for mains in _MAINS_HZ for n in _LINES for off in beside]


def _waves(shape: np.ufunc, hz: list[float], t: Levels, window: Levels) -> NDArray[np.float32]:
    return np.asarray(window[:, None] * shape(2.0 * np.pi * np.outer(t, hz)), dtype=np.float32)


def _complex(sound: Samples, waves: NDArray[np.float32]) -> NDArray[np.complex128]:
    cosine, sine = np.split((sound @ waves).astype(np.float64), 2, axis=1)
    return np.asarray(cosine - 1j * sine)
