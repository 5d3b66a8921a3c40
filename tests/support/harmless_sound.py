"""What a real night does to microphones and is no fault, made from physics alone.

Nothing here shares a constant or a function with the detectors or the injectors. Levels are
AES17 RMS in dBFS unless said otherwise; every wave has shape (frames,), at `RATE`. Sound takes
2.9 ms a metre (343 m/s). Models without a source beside them: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, lfilter, sosfilt

from engine.model.messages import Samples

RATE = 48_000
Wave = NDArray[np.float64]


def at_level(x: Wave, dbfs: float) -> Wave:
    """That wave at that AES17 RMS: a full-scale sine is 0 dBFS."""
    return np.asarray(x * (10 ** (dbfs / 20) / np.sqrt(2.0 * np.mean(x**2))))


def amplified(x: Wave, gain_db: float, at_s: float, until_s: float = np.inf) -> Wave:
    """The wave with its gain turned over 0.3 s, as a hand turns it, at that time and back later."""
    t = np.arange(len(x)) / RATE
    turned = np.clip((t - at_s) / 0.3, 0.0, 1.0) - np.clip((t - until_s) / 0.3, 0.0, 1.0)
    return np.asarray(x * 10 ** (gain_db * turned / 20))


def delayed(x: Wave, frames: int) -> Wave:
    """The wave that many frames later, silence before it."""
    return np.concatenate([np.zeros(frames), x[: len(x) - frames]])


def band(x: Wave, low_hz: float, high_hz: float, order: int = 2) -> Wave:
    """The wave between two frequencies."""
    sos = butter(order, (low_hz, high_hz), "bandpass", fs=RATE, output="sos")
    return np.asarray(sosfilt(sos, x))


def swaying(seconds: float, rng: np.random.Generator, every_s: float, spread_db: float) -> Wave:
    """A gain that wanders: normal in dB, a new value each so many seconds, smooth between them."""
    frames = round(seconds * RATE)
    knots = rng.normal(0.0, spread_db, int(seconds / every_s) + 2)
    at = np.arange(frames) / (every_s * RATE)
    return np.asarray(10 ** (np.interp(at, np.arange(len(knots)), knots) / 20))


def room(seconds: float, dbfs: float, rng: np.random.Generator, corner_hz: float = 300.0) -> Wave:
    """A quiet place: air that falls with frequency, never quite steady, over a pack's own hiss."""
    white = rng.standard_normal(round(seconds * RATE))
    air = sosfilt(butter(1, (30.0, corner_hz), "bandpass", fs=RATE, output="sos"), white)
    air = at_level(air, dbfs) * swaying(seconds, rng, 0.35, 1.0) * swaying(seconds, rng, 4.0, 0.8)
    return np.asarray(air + at_level(rng.standard_normal(len(air)), dbfs - 22.0))


def voice(seconds: float, dbfs: float, rng: np.random.Generator, talks: float = 0.5) -> Wave:
    """Somebody who speaks in phrases: a pulse train through three formants, syllables four times a
    second, fricatives between them; `dbfs` is the level while they speak.

    Pulse and formants as in G. Fant, "Acoustic theory of speech production", 1960 (textbook).
    """
    frames = round(seconds * RATE)
    t = np.arange(frames) / RATE
    pitch_hz = 120.0 * np.exp(0.15 * np.sin(2 * np.pi * 0.31 * t + rng.uniform(0, 6)))
    pitch_hz *= 1.0 + 0.01 * np.sin(2 * np.pi * 5.1 * t)
    phase = np.cumsum(pitch_hz) / RATE
    pulses = np.diff(np.floor(phase), prepend=0.0) * rng.uniform(0.85, 1.15, frames)
    source = lfilter([1.0], [1.0, -0.95], pulses) + 0.002 * rng.standard_normal(frames)
    sound = np.zeros(frames)
    for hz, wide_hz, gain in ((550.0, 90.0, 1.0), (1500.0, 130.0, 0.45), (2500.0, 180.0, 0.25)):
        r = np.exp(-np.pi * wide_hz / RATE)
        sound += gain * lfilter(
            [1 - r], [1.0, -2 * r * np.cos(2 * np.pi * hz / RATE), r * r], source
        )
    syllables = np.clip(np.sin(2 * np.pi * 4.1 * t + rng.uniform(0, 6)), 0.0, None) ** 0.7
    hiss = band(rng.standard_normal(frames), 4500.0, 9000.0)
    esses = np.clip(np.sin(2 * np.pi * 4.1 * t + 3.3), 0.8, None) - 0.8
    level = swaying(seconds, rng, 0.5, 3.0)
    sound = sound / np.std(sound) * syllables * level + 0.6 * hiss / np.std(hiss) * esses * level
    return np.asarray(sound * _phrases(seconds, rng, talks) * 10 ** (dbfs / 20) / np.sqrt(2) * 1.6)


def _phrases(seconds: float, rng: np.random.Generator, talks: float) -> Wave:
    """1 while somebody speaks, for 1 to 4 s, 0 in pauses between."""
    on = np.zeros(round(seconds * RATE))
    at_s = rng.uniform(0.2, 2.0)
    while at_s < seconds:
        long_s = rng.uniform(1.0, 4.0)
        on[round(at_s * RATE) : round((at_s + long_s) * RATE)] = 1.0
        at_s += long_s + long_s * (1.0 - talks) / talks * rng.uniform(0.6, 1.4) + 0.3
    return np.asarray(fftconvolve(on, np.hanning(960) / 480.0, mode="same").clip(0.0, 1.0))


def music(seconds: float, rng: np.random.Generator) -> Wave:
    """A loudspeaker feed: chords that change twice a second over a steady beat, compressed."""
    t = np.arange(round(seconds * RATE)) / RATE
    sound = np.zeros(len(t))
    steps = np.asarray(rng.integers(0, 12, (int(seconds * 2) + 2, 4)))
    number = (t * 2).astype(int)
    for voice_number in range(4):
        hz = 110.0 * 2 ** (steps[number, voice_number] / 12 + voice_number * 0.5)
        phase = 2 * np.pi * np.cumsum(hz) / RATE
        sound += sum(np.sin(k * phase) / k for k in range(1, 6))
    beat = np.exp(-((t * 2) % 1.0) * 9.0)
    sound += 2.0 * beat * rng.standard_normal(len(t))
    return np.asarray(np.tanh(0.5 * sound / np.std(sound)))


def generator_engine(seconds: float, rng: np.random.Generator) -> Wave:
    """A small generator: firing pulses at 25 Hz with their harmonics, and its fan."""
    t = np.arange(round(seconds * RATE)) / RATE
    firing = 2 * np.pi * np.cumsum(25.0 * (1.0 + 0.004 * swaying(seconds, rng, 0.4, 1.0))) / RATE
    sound = sum(np.sin(k * firing + rng.uniform(0, 6)) / k**0.6 for k in range(1, 30))
    fan = band(rng.standard_normal(len(t)), 200.0, 3000.0, 1)
    return np.asarray(sound / np.std(sound) + 0.7 * fan / np.std(fan))


def tone(seconds: float, hz: float = 1000.0) -> Wave:
    """A line-up tone."""
    return np.sin(2 * np.pi * hz * np.arange(round(seconds * RATE)) / RATE)


def decay(x: Wave, stop_s: float, half_s: float = 0.25) -> Wave:
    """The wave until a source stops, then what the room keeps of it for a while."""
    t = np.arange(len(x)) / RATE
    return np.asarray(x * np.exp(-np.clip(t - stop_s, 0.0, None) / half_s))


def impacts(
    seconds: float, each_s: float, rng: np.random.Generator, decay_s: float = 0.0012
) -> Wave:
    """Rain: drops that strike at random (Poisson), each a short broad-band knock of its own size.

    Sizes of drops are exponential (J. Marshall and W. Palmer, J. Meteorology 5, 1948).
    """
    frames = round(seconds * RATE)
    count = rng.poisson(each_s * seconds)
    hits = np.zeros(frames)
    np.add.at(hits, rng.integers(0, frames, count), rng.exponential(1.0, count) ** 2)
    lasting = round(8 * decay_s * RATE)
    knock = rng.standard_normal(lasting) * np.exp(-np.arange(lasting) / (decay_s * RATE))
    return np.asarray(fftconvolve(hits, knock)[:frames])


def friction(seconds: float, rng: np.random.Generator, strokes_s: float = 0.6) -> Wave:
    """Nylon that rubs a microphone: white to 20 kHz, in strokes of 0.1 to 0.8 s whose loudness
    follows the roughness of the cloth, some 15 to 120 times a second."""
    frames = round(seconds * RATE)
    white = sosfilt(butter(4, 20_000.0, fs=RATE, output="sos"), rng.standard_normal(frames))
    rough = np.abs(band(rng.standard_normal(frames), 15.0, 120.0, 1))
    rough = rough / rough.mean()
    strokes = np.zeros(frames)
    at_s = rng.uniform(0.0, 1.0)
    while at_s < seconds:
        long = round(rng.uniform(0.1, 0.8) * RATE)
        first = round(at_s * RATE)
        shape = np.sin(np.pi * np.arange(long) / long) ** 0.5 * rng.uniform(0.3, 1.0)
        strokes[first : first + long] += shape[: max(frames - first, 0)]
        at_s += long / RATE + rng.exponential(strokes_s)
    return np.asarray(white * (0.25 + 0.75 * rough) * strokes)


def wind(seconds: float, rng: np.random.Generator, peak_dbfs: float) -> Wave:
    """Gusts on a microphone: turbulence under some 60 Hz that falls steeply above (-5/3 law of
    pressure and more), peaks at that level, no sample over it."""
    frames = round(seconds * RATE)
    sound = sosfilt(
        butter(1, (4.0, 25.0), "bandpass", fs=RATE, output="sos"), rng.standard_normal(frames)
    )
    sound = sound / np.std(sound)
    hiss = sosfilt(butter(1, 200.0, fs=RATE, output="sos"), rng.standard_normal(frames))
    gusts = np.clip(np.log(swaying(seconds, rng, 0.8, 6.0)), 0.0, None)
    sound = (sound + 0.08 * hiss / np.std(hiss)) * gusts
    return np.asarray(sound / np.abs(sound).max() * 10 ** (peak_dbfs / 20))


def body_hits(seconds: float, rng: np.random.Generator, peak_dbfs: float, every_s: float) -> Wave:
    """A hand or a prop that strikes the pack or the mic: a thud of 40 to 120 Hz that dies within
    100 ms, with the click of the contact, peaks to that level."""
    frames = round(seconds * RATE)
    sound = np.zeros(frames)
    at_s = rng.exponential(every_s)
    while at_s < seconds - 0.5:
        t = np.arange(round(0.4 * RATE)) / RATE
        thud = np.sin(2 * np.pi * rng.uniform(40.0, 120.0) * t + rng.uniform(0, 6)) * np.exp(
            -t / 0.03
        )
        thud *= 1.0 - np.exp(-t / 0.001)
        click = rng.standard_normal(len(t)) * np.exp(-t / 0.0015)
        hit = thud / np.abs(thud).max() + rng.uniform(0.05, 0.4) * click / np.abs(click).max()
        first = round(at_s * RATE)
        sound[first : first + len(t)] += hit / np.abs(hit).max() * rng.uniform(0.3, 1.0)
        at_s += 0.4 + rng.exponential(every_s)
    return np.asarray(sound * 10 ** (peak_dbfs / 20))


def takes(columns: Sequence[Wave]) -> Samples:
    """These tracks as samples, shape (frames, tracks), 24-bit like a recorder's."""
    whole = np.stack(columns, axis=1)
    return np.asarray(np.round(whole * 2**23) / 2**23, dtype=np.float32)
