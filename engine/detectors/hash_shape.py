"""What a link's own noise looks like over frequency, and how evenly it runs.

Model: without a carrier the discriminator's noise is level, near the threshold it is triangular
(N. M. Blachman, IEEE Trans. Inf. Theory 10(3), 235-241, 1964, after S. O. Rice). A link that
carries no more than 15 kHz ends its hash there, and its de-emphasis of 50 or 75 us takes 6 dB an
octave from about 3 kHz on (ITU-R BS.450-3; 1/(2 pi 50 us) is 3.2 kHz): triangular hash is level
from there, level hash, that of an open squelch, falls from there. It is Gaussian and steady, so its
energy over a millisecond spreads as chi-square with twice bandwidth times duration degrees of
freedom does (J. Bendat and A. Piersol, "Random data", ch. 8); cloth that rubs and rain that strikes
spread several times as much, however white they are. Numbers: common practice, no source.
"""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import Final

import numpy as np

from engine.model.flag_arrays import indices
from engine.model.messages import Levels, Samples
from engine.model.percentiles import median

BANDS_HZ: Final = (600.0, 1200.0, 2400.0, 4800.0, 9600.0, 14_000.0, 18_500.0)
EVEN_DB: Final = 10.0
"""The densities of all bands lie within this, or they rise to the top of the band: """
FALL_DB: Final = 3.0
RISEN_DB: Final = FALL_DB + 10.0 * math.log10(BANDS_HZ[-2] * BANDS_HZ[-1] / math.prod(BANDS_HZ[:2]))
"""falling back by no more than this from band to band, and rising by no more than the middles of
the bands do, as triangular hash does; so do all but the highest where the link ends under that."""
SMALL_SPREAD_DB: Final = 10.0 / math.log(10.0)
"""The spread in decibels of a power whose relative spread is small."""
_TURNS: Final = 2.0 * np.pi * np.array([[50e-6], [75e-6]]) * BANDS_HZ[:-1]
DE_EMPHASIS_DB: Final = -10.0 * np.log10(np.diff(np.arctan(_TURNS)) / np.diff(_TURNS))
"""What 50 and 75 us take off the power of each band but the highest, which may end: the mean of
1/(1 + turns^2) over it."""
LEVEL_DB: Final = 1.5
SPREAD_DB: Final = 3.5 * SMALL_SPREAD_DB / math.sqrt(4.0)
"""Without that the densities of an open squelch lie within the first, plus the second over the root
of the hops: 3.5 deviations of the lowest band, of which a hop holds four independent bins."""
OPEN_HOPS: Final = 4
"""In fewer hops a breath is as level by chance."""

WINDOWS_HOP: Final = 10
"""Windows in each hop whose energies are compared: 1 ms."""
LOW_SHARE: Final = 0.1
LOW_DEVIATIONS: Final = -NormalDist().inv_cdf(LOW_SHARE)
CLICKS: Final = 3.0
"""The upper half may spread so many times as far: there lie the clicks of a link near its threshold
(2.4 times at most: ours, measured on `inject.noise`)."""
EDGE_WINDOW_S: Final = 0.002
BEFORE_S: Final = (0.06, 0.02)
"""What went before an edge lies between these, in front of it."""
PLATEAU_S: Final = (0.005, 0.025)
"""What it leads to lies between these behind it."""
RISE_SHARE: Final = (0.3, 0.8)
"""An edge takes from this share of its height in decibels to that one."""


def band_densities_db(sound: Levels, rate_hz: int) -> Levels:
    """Mean power of each band of hops, dB, any one reference; without bands that lie over half of
    the sample rate. `sound` has shape (hops, frames)."""
    spectra = np.fft.rfft(sound * np.hanning(sound.shape[1]), axis=1)
    power = np.square(np.abs(spectra)).mean(axis=0)
    hz = np.arange(len(power)) * (rate_hz / (2.0 * (len(power) - 1)))
    bands = np.searchsorted(hz, BANDS_HZ)
    sizes = np.diff(bands)
    some = sizes > 0
    energy = np.diff(np.cumsum(power)[np.maximum(bands, 1) - 1])[some]
    return np.asarray(10.0 * np.log10(energy / sizes[some] + 1e-30))


def is_hash(density_db: Levels) -> bool:
    """Whether densities of bands in rising order are level, or rise, up to where a link ends."""
    return (
        bool(np.ptp(density_db) <= EVEN_DB)
        or _rises(density_db)
        or (len(density_db) == len(BANDS_HZ) - 1 and _rises(density_db[:-1]))
    )


def is_open_squelch(density_db: Levels, hops: int) -> bool:
    """Whether densities of bands, a mean over so many hops, are level but for de-emphasis."""
    taken_db = DE_EMPHASIS_DB[:, : len(density_db)]
    range_db = np.ptp(density_db[: taken_db.shape[1]] + taken_db, axis=1).min()
    return hops >= OPEN_HOPS and bool(range_db <= LEVEL_DB + SPREAD_DB / np.sqrt(hops))


def _rises(density_db: Levels) -> bool:
    fallen_db = np.maximum.accumulate(density_db) - density_db
    return bool(fallen_db.max() <= FALL_DB and np.ptp(density_db) <= RISEN_DB)


def roughness(sound: Levels) -> float:
    """How much the energy over a millisecond spreads, against what steady noise of that band does.

    `sound` has shape (hops, frames), hops in a row. 1.0 for Gaussian noise of any bandwidth; the
    bandwidth is the statistical one, the squared sum of the spectrum over the sum of its squares.
    """
    step = np.diff(sound.ravel())
    frames = max(sound.shape[1] // WINDOWS_HOP, 2)
    energy_db = _window_energies_db(step, frames)
    low_db, middle_db, high_db = np.quantile(energy_db, (LOW_SHARE, 0.5, 1.0 - LOW_SHARE))
    spread_db = max(middle_db - low_db, (high_db - middle_db) / CLICKS)
    return float(spread_db / (LOW_DEVIATIONS * _steady_db(step, frames)))


def holds_level(sound: Levels) -> bool:
    """Whether hops in a row are as loud as each other: those of a squelch that stands open are,
    cloth swells and fades. `sound` has shape (hops, frames)."""
    step = np.diff(sound.ravel())
    energy_db = _window_energies_db(step, sound.shape[1] - 1)
    return float(energy_db.std(ddof=1)) <= CLICKS * _steady_db(step, sound.shape[1])


def _window_energies_db(step: Levels, frames: int) -> Levels:
    windows = step[: len(step) // frames * frames].reshape(-1, frames)
    return np.asarray(10.0 * np.log10(np.square(windows).mean(axis=1) + 1e-30))


def _steady_db(step: Levels, frames: int) -> float:
    """Standard deviation of the energies over so many frames of Gaussian noise of that band."""
    power = np.square(np.abs(np.fft.rfft(step * np.hanning(len(step)))))
    bins = max(len(power) // 64, 1)
    smooth = power[: len(power) // bins * bins].reshape(-1, bins).mean(axis=1)
    share = float(smooth.sum() ** 2 / (np.square(smooth).sum() * len(smooth) + 1e-60))
    return SMALL_SPREAD_DB * math.sqrt(2.0 / max(share * frames, 1.0))


def rise_s(step: Levels, at: int, rate_hz: float) -> float:
    """How long, in s, the treble takes to rise at about that index; 0 where it is not to be told.

    A squelch opens within milliseconds. The noise of a channel in fading is as the inverse of its
    power, which goes as the square of time round a null (R. H. Clarke, 1968, from memory): it
    takes some ten milliseconds at a walking pace.

    step : the steps from sample to sample, shape (frames,)
    """
    window = max(round(EDGE_WINDOW_S * rate_hz), 1)
    sums = np.cumsum(np.square(step, dtype=np.float64))
    level_db = 10.0 * np.log10((sums[window:] - sums[:-window]) / window + 1e-30)
    at -= window // 2
    first, last = (max(at - round(s * rate_hz), 0) for s in BEFORE_S)
    begin, end = (at + round(s * rate_hz) for s in PLATEAU_S)
    if last <= first or end > len(level_db):
        return 0.0
    before_db, full_db = median(level_db[first:last]), median(level_db[begin:end])
    low_db, high_db = (before_db + share * (full_db - before_db) for share in RISE_SHARE)
    edge = level_db[last:end]
    above = int((edge >= high_db).argmax())
    below = indices(edge[:above] < low_db)
    return float((above - (below[-1] if len(below) else 0)) / rate_hz)


def best_match(here: Samples, there: Samples) -> Levels:
    """Largest correlation, at any lag, of one sound of shape (frames,) with others, shape (frames,
    tracks): so much of it each of them holds, shape (tracks,)."""
    size = len(here) + len(there)
    across = np.fft.rfft(there, size, axis=0) * np.fft.rfft(here, size).conj()[:, None]
    match = np.abs(np.fft.irfft(across, size, axis=0)).max(axis=0)
    norm = np.linalg.norm(here) * np.linalg.norm(there, axis=0)
    return np.asarray(match / np.maximum(norm, 1e-30))
