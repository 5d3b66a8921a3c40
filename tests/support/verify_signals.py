"""Voices on several mics, a session's log of them, and takes cut from the same sound.

Levels are worked out here by plain arithmetic, not by the engine. Voices are band-limited noise
under syllables of random length and loudness: as speech moves, with nobody's recording in it.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

import numpy as np
import soundfile
from scipy.signal import butter, resample_poly, sosfilt

from engine.model.messages import Kind, PackLevel
from engine.model.tracks import Plan, Track
from engine.session.second_levels import pack_envelope
from tests.support.sample_session import SessionWriter

RATE: Final = 48_000
SLOW: Final = 8_000
FINER: Final = 6
"""Between samples of the slow rate a straight line would take the treble away."""
TRACKS: Final = (
    Track(1, "Rigger main", Kind.LAV, "Rigger", PackLevel.MAIN),
    Track(2, "Rigger safety", Kind.LAV, "Rigger", PackLevel.SAFETY),
    Track(3, "Foreman", Kind.LAV, "Foreman"),
    Track(4, "Ringer", Kind.LAV, "Ringer"),
    Track(5, "Boom", Kind.BOOM),
    Track(6, "Belfry", Kind.BOOM),
)
PLAN: Final = Plan(TRACKS, "Raising the bell")


def voice(seconds: float, rng: np.random.Generator) -> np.ndarray:
    """One voice at `SLOW` Hz, with pauses."""
    frames = int(seconds * SLOW)
    envelope, at = np.zeros(frames), 0
    while at < frames:
        at += int(SLOW * rng.exponential(1.2))
        for _ in range(rng.integers(2, 14)):
            length = int(SLOW * rng.uniform(0.12, 0.35))
            shape = np.hanning(length)[: max(frames - at, 0)]
            envelope[at : at + length] = shape * 10 ** (rng.uniform(-34.0, -18.0) / 20.0)
            at += length
    sound = sosfilt(
        butter(2, (150, 3000), "bandpass", fs=SLOW, output="sos"), rng.normal(size=frames)
    )
    return np.asarray(envelope * sound * 2.0)


def night(seconds: float, seed: int = 1, rate: int = RATE) -> np.ndarray:
    """Sound of all tracks, shape (frames, 6)."""
    rng = np.random.default_rng(seed)
    rigger, foreman, ringer, belfry = (voice(seconds, rng) for _ in range(4))
    mics = (
        rigger,
        0.25 * rigger * _sway(len(rigger), rng) + 0.02 * foreman,
        foreman + 0.03 * rigger,
        ringer + 0.03 * foreman,
        (0.3 * foreman + 0.2 * ringer) * _sway(len(rigger), rng),
        belfry + 0.02 * ringer,
    )
    room = rng.normal(0.0, 10 ** (-72 / 20), (len(rigger), len(mics)))
    slow = np.stack(mics, axis=1) + room
    return slow if rate == SLOW else np.asarray(resample_poly(slow, rate // SLOW, 1, axis=0))


def _sway(frames: int, rng: np.random.Generator) -> np.ndarray:
    """Gain of a head that turns, a boom that follows: a few dB, from second to second."""
    seconds = np.arange(0, frames + SLOW, SLOW)
    gain_db = np.interp(np.arange(frames), seconds, rng.normal(0.0, 2.5, len(seconds)))
    return np.asarray(10 ** (gain_db / 20.0))


def levels(sound: np.ndarray, step_s: float, rate: int = RATE) -> np.ndarray:
    """AES17 RMS by steps, dBFS: a full-scale sine reads 0."""
    frames = round(step_s * rate)
    whole = sound[: len(sound) // frames * frames].reshape(-1, frames, sound.shape[1])
    return np.asarray(10.0 * np.log10(2.0 * np.square(whole).mean(axis=1) + 1e-20))


def write_session(folder: Path, sound: np.ndarray, plan: Plan = PLAN) -> SessionWriter:
    """The log of a watch that heard that sound; still open, to add to it."""
    seconds = len(sound) // RATE
    writer = SessionWriter(folder, plan)
    steps = levels(sound, 0.1)
    with writer.at_once():
        writer.run(0.0, float(seconds))
        for second in range(seconds):
            here = steps[10 * second : 10 * second + 10]
            writer.level(second, here.max(axis=0))
            writer._put("envelope", second, pack_envelope(here))
    return writer


def recorded(
    sound: np.ndarray,
    begin_s: float,
    end_s: float,
    *,
    ppm: float = 0.0,
    seed: int = 2,
    rate: int = RATE,
) -> np.ndarray:
    """What a recorder makes of that stretch: its own gains, noise and clock."""
    rng = np.random.default_rng(seed)
    frames = int((end_s - begin_s) * rate)
    times = FINER if rate == SLOW else 1
    finer = sound if times == 1 else resample_poly(sound, times, 1, axis=0)
    position = (begin_s * rate + np.arange(frames) * (1.0 + 1e-6 * ppm)) * times
    whole = position.astype(int)
    part = (position - whole)[:, None]
    piece = finer[whole] * (1.0 - part) + finer[np.minimum(whole + 1, len(finer) - 1)] * part
    gains = 10 ** (rng.uniform(-0.4, 0.4, sound.shape[1]) / 20.0)
    return np.asarray(piece * gains + rng.normal(0.0, 10 ** (-92 / 20), piece.shape))


def write_take(path: Path, sound: np.ndarray, rate: int = RATE) -> Path:
    """A take of 24 bit."""
    soundfile.write(path, np.clip(sound, -1.0, 1.0), rate, subtype="PCM_24")
    return path
