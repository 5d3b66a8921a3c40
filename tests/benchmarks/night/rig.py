"""What follows a fault in a real rig: analogue step, converters, dither, the recorder's limiter.

Each link takes and gives float32 audio of shape (frames, tracks). A chain is a few links in the
order of the rig; the last one is always the quantising of the file.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import fft, ndimage, signal

from tests.benchmarks.night.sounds import Audio, white

Rng = np.random.Generator


def analogue(audio: Audio, rate: int, rng: Rng, noise_dbfs: float = -100.0) -> Audio:
    """A line output into a line input: coupling capacitors (10 Hz, first order), a low-pass of
    second order at 22 kHz or 0.46 of the rate, and the noise of both stages. The corner bends
    flat tops.

    Common practice, no source: corners and noise of line stages.
    """
    low = signal.butter(1, 10.0, "highpass", fs=rate, output="sos")
    high = signal.butter(2, min(22000.0, 0.46 * rate), fs=rate, output="sos")
    stages = np.concatenate([low, high])
    through = np.empty_like(audio)
    for track in range(audio.shape[1]):
        through[:, track] = signal.sosfilt(stages, audio[:, track])
    return converter_noise(through, rng, noise_dbfs)


def converter_noise(audio: Audio, rng: Rng, level_dbfs: float) -> Audio:
    """The converter's own white noise, another on each track."""
    out = audio.copy(order="K")
    for track in range(audio.shape[1]):
        out[:, track] += white(len(audio), rng, level_dbfs)
    return out


def resampled(audio: Audio, ratio: float) -> Audio:
    """Band-limited conversion to `ratio` times as many frames (which need not be a simple ratio):
    the spectrum cut off or filled up, as an ideal converter would.
    """
    frames = len(audio)
    padded = fft.next_fast_len(frames, real=True)
    size = _smooth(padded * ratio)
    target = min(size, round(frames * size / padded))
    out = np.empty((target, audio.shape[1]), dtype=np.float32, order="F")
    for track in range(audio.shape[1]):
        bins = fft.rfft(audio[:, track], padded)
        wanted = np.zeros(size // 2 + 1, dtype=bins.dtype)
        shared = min(len(bins), len(wanted))
        wanted[:shared] = bins[:shared]
        out[:, track] = fft.irfft(wanted, size)[:target] * np.float32(size / padded)
    return out


def _smooth(wanted: float) -> int:
    """The whole number within 5 ppm with the smallest prime factors, for which an FFT is quick."""
    near = round(wanted)
    if near == wanted:
        return near
    reach = max(1, int(5e-6 * wanted))
    return min(range(near - reach, near + reach + 1), key=_largest_prime)


def _largest_prime(number: int) -> int:
    largest, factor = 1, 2
    while factor * factor <= number:
        while number % factor == 0:
            largest = factor
            number //= factor
        factor += 1
    return max(largest, number)


def asynchronous(audio: Audio, rng: Rng) -> Audio:
    """An asynchronous converter between two clocks 20 to 100 ppm apart: no whole ratio; every
    sample is a new one between the old."""
    drift = rng.uniform(20e-6, 100e-6) * rng.choice([-1.0, 1.0])
    return resampled(audio, 1.0 + drift)


def dithered(audio: Audio, rng: Rng, bits: int) -> Audio:
    """Quantised with non-subtractive TPDF dither of 2 LSB peak to peak: the total error has the
    power LSB²/4 (Wannamaker, Lipshitz, Vanderkooy, Wright, IEEE Trans. Signal Proc. 48(2), 2000).
    """
    full = np.float32(2.0 ** (bits - 1))
    out = np.empty_like(audio)
    for track in range(audio.shape[1]):
        drawn = rng.integers(0, 2**32, len(audio), dtype=np.uint32)
        dither = (drawn >> 16).astype(np.float32) - (drawn & 0xFFFF).astype(np.float32)
        codes = np.rint(audio[:, track] * full + dither * np.float32(2.0**-16))
        out[:, track] = np.clip(codes, -full, full - 1) / full
    return out


def limited(audio: Audio, rate: int, ceiling_dbfs: float = -6.0, linked: bool = False) -> Audio:
    """The recorder's limiter: looks 2 ms ahead, recovers with 80 ms; steps of 1 ms. Where
    `linked`, one gain for all tracks.

    Common practice, no source: times and ceiling of limiters in recorders.
    """
    hop = rate // 1000
    steps = -(-len(audio) // hop)
    peaks = np.zeros((steps, audio.shape[1]))
    for track in range(audio.shape[1]):
        magnitude = np.zeros(steps * hop, dtype=np.float32)
        magnitude[: len(audio)] = np.abs(audio[:, track])
        peaks[:, track] = ndimage.maximum_filter1d(magnitude.reshape(steps, hop).max(axis=1), 5)
    if linked:
        peaks[:] = peaks.max(axis=1, keepdims=True)
    ceiling = 10.0 ** (ceiling_dbfs / 20.0)
    wanted = np.minimum(1.0, ceiling / np.maximum(peaks, 1e-9))
    recovery = float(np.exp(-1.0 / 80.0))
    now = np.ones(audio.shape[1])
    gains = np.empty_like(wanted)
    for step in range(steps):
        now = np.minimum(wanted[step], 1.0 - (1.0 - now) * recovery)
        gains[step] = now
    middles = np.arange(steps) * hop + hop / 2
    out = audio.copy(order="K")
    at = np.arange(len(audio))
    for track in np.flatnonzero(gains.min(axis=0) < 1.0).tolist():
        out[:, track] *= np.interp(at, middles, gains[:, track]).astype(np.float32)
    return out


Link = Callable[[Audio, int, Rng], tuple[Audio, int]]


def _analogue(audio: Audio, rate: int, rng: Rng) -> tuple[Audio, int]:
    return analogue(audio, rate, rng), rate


def _noisy(audio: Audio, rate: int, rng: Rng) -> tuple[Audio, int]:
    return converter_noise(audio, rng, float(rng.choice([-88.0, -96.0, -104.0, -112.0]))), rate


def _asynchronous(audio: Audio, rate: int, rng: Rng) -> tuple[Audio, int]:
    return asynchronous(audio, rng), rate


def _limited(audio: Audio, rate: int, rng: Rng) -> tuple[Audio, int]:
    return limited(audio, rate), rate


def to_rate(wanted: int) -> Link:
    """A link that converts to another sample rate (44.1, 48, 96 kHz)."""

    def link(audio: Audio, rate: int, rng: Rng) -> tuple[Audio, int]:
        return (audio if rate == wanted else resampled(audio, wanted / rate)), wanted

    return link


@dataclass(frozen=True, slots=True)
class Chain:
    """Links in the rig's order, and the word length of the file."""

    name: str
    links: tuple[Link, ...] = ()
    bits: int = 24

    def run(
        self, audio: Audio, rate: int, rng: Rng, file_rate: int | None = None
    ) -> tuple[Audio, int]:
        """Through all links, then to the file's rate and word length; gives audio and rate."""
        for link in self.links:
            audio, rate = link(audio, rate, rng)
        if file_rate is not None:
            audio, rate = to_rate(file_rate)(audio, rate, rng)
        return dithered(audio, rng, self.bits), rate


CHAINS: Final = {
    chain.name: chain
    for chain in (
        Chain("direct"),
        Chain("analogue", (_analogue,)),
        Chain("to_44100", (to_rate(44100),)),
        Chain("asynchronous", (_asynchronous,)),
        Chain("noisy", (_noisy,)),
        Chain("sixteen_bit", (), 16),
        Chain("limiter", (_limited,)),
        Chain("long", (_analogue, _asynchronous, _noisy, _limited), 16),
    )
}
"""The chains by name; "long" is all of it at once."""

DIRECT_COUPLED: Final = tuple(n for n, chain in CHAINS.items() if _analogue not in chain.links)
"""Those without a coupling capacitor: behind one no offset is left to be found."""
