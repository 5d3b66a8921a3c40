"""A tone that several tracks have: whether it comes by the line or is a howl, and where it is told.

Model: a line-up tone is one signal on all inputs, in phase (or inverted) and mostly as loud. A howl
reaches each microphone by a way of its own: its phase there is any, and its level differs as
distance and gain do. The chance that a howl agrees as well is that of phases drawn at random, near
each other by the volume of a ball (calculated), and that of normal levels by chi-square; they are
put together by Fisher's method (R. A. Fisher, Statistical Methods for Research Workers, 1932).
"""

from __future__ import annotations

import math
from typing import Final

import numpy as np

from engine.model.flag_arrays import any_of, indices
from engine.model.messages import Flags, Levels, Samples
from engine.model.number_text import true_minus

ON_ALL: Final = 0.75
"""A tone on so many of the microphones' tracks is no howl: it comes by the line (CONTRACT.md)."""
BESIDE: Final = 2
"""A line of a tick under Hann's window is as wide to each side, bins."""
AS_LOUD: Final = 0.25
"""Others have at least this part of its power: 6 dB for gains by hand (common practice)."""
SPREAD_DB: Final = 6.0
"""Standard deviation of a howl's level from track to track (distances to a factor of two; ours)."""
IN_PHASE: Final = 0.05
"""Phases that lie as near more often than this may be those of the air: """
BY_LEVEL: Final = 1e-6
"""then the levels have to be as equal as those of oscillators."""
CHANCE: Final = 1e-3
"""A howl agrees so well no more often than this."""


def comes_by_the_line(sound: Samples, turns: float, level_dbfs: Levels) -> bool:
    """Whether some tracks have one tone by the line, and not through the air.

    Parameters
    ----------
    sound : ndarray
        Of those tracks, in one stretch, shape (tracks, frames).
    turns : float
        The tone's frequency, cycles a sample.
    level_dbfs : ndarray
        Its level on each, shape (tracks,), dBFS.
    """
    frames = sound.shape[1]
    wave = np.hanning(frames) * np.exp(-2j * np.pi * turns * np.arange(frames))
    phases = np.angle(sound @ wave)
    by_phase = _phase_chance(2.0 * phases)
    chance = by_phase * _level_chance(level_dbfs)
    most = CHANCE if by_phase <= IN_PHASE else BY_LEVEL
    return bool(chance * (1.0 - math.log(max(chance, 1e-300))) <= most)


def has_line_of_all(sound: Samples, track_index: int, inputs: Flags) -> bool:
    """Whether most of that track is one line, which is on nearly all of those inputs as loud or
    louder, whatever is said there; `sound` has shape (tracks, frames)."""
    step = np.diff(sound, axis=1)  # words lie low
    window = np.hanning(step.shape[1])
    own = np.square(np.abs(np.fft.rfft(step[track_index] * window)))
    at = int(own.argmax())
    line = slice(max(at - BESIDE, 0), at + BESIDE + 1)
    if own[line].sum() <= 0.5 * own.sum():
        return False
    power = np.square(np.abs(np.fft.rfft(step[inputs] * window)))[:, line].sum(axis=1)
    as_loud = np.count_nonzero(power >= AS_LOUD * own[line].sum())
    return bool(as_loud > 1 and as_loud >= ON_ALL * len(power))


def _phase_chance(phases: Levels) -> float:
    """How likely so many phases, drawn at random, lie as near to each other, radians."""
    number = len(phases)
    off = np.angle(np.exp(1j * phases) * np.exp(-1j * phases).mean())
    radius = math.sqrt(float(np.square(off).sum()))
    free = number - 1
    side = math.sqrt(math.pi) * radius / (2.0 * math.pi)
    ball = math.pow(side, free) / math.gamma(free / 2.0 + 1.0)
    return min(1.0, math.sqrt(number) * ball)


def _level_chance(level_dbfs: Levels) -> float:
    """How likely a howl is as loud on all, or more so: chi-square's lower tail where it is thin."""
    squares = float(np.square((level_dbfs - level_dbfs.mean()) / SPREAD_DB).sum())
    free = len(level_dbfs) - 1
    chance = math.pow(squares / 2.0, free / 2.0) / math.gamma(free / 2.0 + 1.0)
    return min(1.0, chance)


def tone_words(hz: float, level_dbfs: float, number: int, *, on_all: bool, by_line: bool) -> str:
    """What is said of a tone that so many inputs have, one line."""
    where = true_minus(f"{hz:.0f} Hz, {level_dbfs:.0f} dBFS")
    if number < 2:
        return f"steady tone: {where}"
    every = "all " if on_all else ""
    what = f"line-up tone on {every}{number}" if by_line else f"howl on {number}"
    return f"{what} inputs: {where}"


def told_once(
    same: Flags, running: Flags, speaks: Flags, by_line: Flags, level_dbfs: Levels, last_s: Levels
) -> Flags:
    """Where a tone is told: of tracks that have it in common on one, unless it is on all; and there
    as long as any of them has it, for words cover it on one and then on another.

    All have shape (tracks,), but `same`, (tracks, tracks): which have one tone. `speaks` is where
    it was told before; `last_s`, when each had it, becomes that of all where it is told.
    """
    told = np.zeros(len(running), dtype=np.bool_)
    left = running.copy()
    for track_index in [*indices(speaks).tolist(), *np.argsort(-level_dbfs).tolist()]:
        runs = same[track_index] & left
        if not any_of(runs):
            continue
        left &= ~same[track_index]
        here = same[track_index] & speaks
        here[track_index] |= not any_of(here)
        if any_of(by_line & runs):
            here |= runs
        last_s[here] = last_s[runs].max()
        told |= here
    return told
