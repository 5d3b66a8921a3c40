"""Timecode as it comes off a real line: with noise, hum and wow, at any level, band-limited."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, sosfilt

from engine.model.frame_rates import CODE_RATES
from engine.model.timecode_frames import CodeFrame
from engine.model.units import amplitude
from engine.timecode.ltc_decoder import LtcDecoder
from engine.timecode.ltc_encoder import code_word, waveform

Sound = NDArray[np.float32]


def starts_with_wow(
    frames: int, length: float, rate_hz: int, parts: Sequence[tuple[float, float]]
) -> NDArray[np.float64]:
    """Where frames begin, samples, when speed swings by (share, Hz) each, shape (frames + 1,)."""
    even = np.arange(frames + 1) * length
    starts: NDArray[np.float64] = even.astype(np.float64)
    for share, hz in parts:
        starts += share * rate_hz / (2 * np.pi * hz) * np.sin(2 * np.pi * hz / rate_hz * even)
    return starts


def code(
    word: str,
    label: str,
    frames: int,
    rate_hz: int,
    *,
    speed: float = 1.0,
    level_dbfs: float = -18.0,
    user_bits: int = 0,
    wow: Sequence[tuple[float, float]] = (),
) -> Sound:
    """LTC at that rate from that label on, shape (samples,)."""
    rate = CODE_RATES[word]
    first = rate.frame(label)
    words = np.array([code_word(rate, first + n, user_bits) for n in range(frames)])
    length = rate_hz / float(rate.rate) / speed
    starts = starts_with_wow(frames, length, rate_hz, wow)
    sound = waveform(words, starts, round(starts[-1]), rate_hz)
    return (amplitude(level_dbfs) * sound).astype(np.float32)


def still(word: str, label: str, frames: int, rate_hz: int) -> Sound:
    """The same label again and again, -18 dBFS."""
    rate = CODE_RATES[word]
    words = np.array([code_word(rate, rate.frame(label))] * frames)
    starts = np.arange(frames + 1, dtype=np.float64) * (rate_hz / float(rate.rate))
    return (0.126 * waveform(words, starts, round(starts[-1]), rate_hz)).astype(np.float32)


def noisy(sound: Sound, snr_db: float, seed: int = 1) -> Sound:
    """With white noise over the whole band, so far under the code's RMS."""
    rms = np.sqrt(np.mean(np.square(sound, dtype=np.float64))) * 10.0 ** (-snr_db / 20.0)
    noise = np.random.default_rng(seed).normal(0.0, rms, len(sound))
    return (sound + noise).astype(np.float32)


def humming(sound: Sound, rate_hz: int, below_db: float, hz: float = 50.0) -> Sound:
    """With mains hum and its odd harmonics (a third, a fifth), RMS so far under the code's."""
    t = np.arange(len(sound)) / rate_hz
    hum: NDArray[np.float64] = np.sum(
        [np.sin(2 * np.pi * hz * n * t + n) / n for n in (1, 3, 5)], axis=0
    )
    gain = np.sqrt(np.mean(np.square(sound, dtype=np.float64)) / np.mean(np.square(hum)))
    mixed: Sound = (sound + gain * 10.0 ** (-below_db / 20.0) * hum).astype(np.float32)
    return mixed


def narrow(sound: Sound, rate_hz: int, low_hz: float, high_hz: float) -> Sound:
    """Through a line: second-order high-pass, fourth-order low-pass (Butterworth, causal)."""
    low = butter(2, low_hz, "highpass", fs=rate_hz, output="sos")
    high = butter(4, high_hz, "lowpass", fs=rate_hz, output="sos")
    return sosfilt(high, sosfilt(low, sound)).astype(np.float32)


def decoded(sound: Sound, rate_hz: int, block: int | None = None) -> list[CodeFrame]:
    """All frames, the sound cut into blocks of that length (else 100 ms), silence after it."""
    decoder = LtcDecoder(rate_hz)
    sound = np.concatenate([sound, np.zeros(round(0.2 * rate_hz), dtype=np.float32)])
    block = block or round(0.1 * rate_hz)
    found = []
    for start in range(0, len(sound), block):
        found += decoder.update(sound[start : start + block])
    return found


def share_right(frames: Sequence[CodeFrame], word: str, label: str, sent: int) -> float:
    """Share of the frames sent that were heard, in order and once; the last one, which has no edge
    at its end before silence, does not count. A label that was not sent counts against it."""
    rate = CODE_RATES[word]
    first = rate.frame(label)
    wanted = {rate.label(first + n) for n in range(sent - 1)}
    heard = [frame.label for frame in frames]
    wrong = [one for one in heard if one not in wanted and one != rate.label(first + sent - 1)]
    return (len(wanted.intersection(heard)) - len(wrong)) / len(wanted)
