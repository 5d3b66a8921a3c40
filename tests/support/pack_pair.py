"""Two packs of one performer, and a voice made of noise: for the checks of pairs."""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, sosfilt

from engine.model.messages import PackLevel, Samples
from engine.model.tracks import Scene, Track
from tests.support.signals import noise

RATE = 48_000
PAIR = Scene(
    (
        Track(1, who="foreman", level=PackLevel.MAIN),
        Track(2, who="foreman", level=PackLevel.SAFETY),
    ),
    RATE,
)
TWO = Scene((Track(1, who="foreman"), Track(2, who="ringer")), RATE)


def voice(seconds: float, seed: int = 1) -> Samples:
    """Noise with a voice's long-term fall above 500 Hz, in words of 0.4 s with pauses of 0.2 s."""
    sos = butter(1, (120.0, 500.0), "bandpass", fs=RATE, output="sos")
    x = sosfilt(sos, noise(-14.0, seconds, RATE, seed=seed), axis=0)
    at_s = np.arange(len(x)) / RATE
    return np.asarray(x * (at_s % 0.6 < 0.4)[:, None], np.float32)


def heard(sound: Samples, gain_db: float, lag_frames: int = 0, seed: int = 5) -> Samples:
    """The voice as one pack has it, with a room 45 dB under it, its own."""
    late = np.roll(sound, lag_frames, axis=0)
    room = noise(-62.0, len(sound) / RATE, RATE, seed=seed)
    return np.asarray((late + room) * np.float32(10 ** (gain_db / 20)), np.float32)


def packs(seconds: float, lag_frames: int = 20) -> Samples:
    """Main and safety of one performer, 12 dB apart, shape (frames, 2)."""
    sound = voice(seconds)
    return np.hstack([heard(sound, 0.0), heard(sound, -12.0, lag_frames, seed=6)])


def slip(x: Samples, track: int, loss_db: float, from_s: float, until_s: float = 1e9) -> None:
    """The voice falls on that pack by so much; the place stays.

    A mic that slipped hears the place as before, unlike one whose gain is turned, which takes floor
    and voice along alike.
    """
    at = slice(round(from_s * RATE), round(min(until_s, len(x) / RATE) * RATE))
    gain = 10 ** (-loss_db / 20)
    floor_dbfs = -62.0 - 12.0 * track
    room = noise(floor_dbfs, len(x) / RATE, RATE, seed=40 + track)[at, 0]
    x[at, track] = x[at, track] * np.float32(gain) + room * np.float32(np.sqrt(1.0 - gain**2))
