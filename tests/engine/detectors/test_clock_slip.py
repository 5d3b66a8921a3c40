"""Clock slips: frames lost or doubled on all inputs. Counts as in CONTRACT.md.

Model and numbers: common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.clock_slip import Clock
from engine.model.messages import Samples, State
from engine.model.tracks import Scene, Track
from tests.support.watching import measurements

RATE = 48_000
SCENE = Scene(tuple(Track(n + 1, who=f"performer {n}") for n in range(10)), RATE)


def place(seconds: float = 20.0, seed: int = 1) -> Samples:
    """Ten tracks of noise that falls with frequency, each its own, with words on two of them."""
    frames = round(seconds * RATE)
    rng = np.random.default_rng(seed)
    spectrum = np.fft.rfft(rng.standard_normal((frames, 10)), axis=0)
    hz = np.fft.rfftfreq(frames, 1.0 / RATE)[:, None]
    x = np.fft.irfft(spectrum / np.maximum(hz, 100.0), n=frames, axis=0)
    x *= 10 ** (-55 / 20) / x.std(axis=0)
    words = np.clip(np.sin(2 * np.pi * 1.9 * np.arange(frames) / RATE), 0.0, None)
    x[:, :2] *= (1.0 + 20.0 * words)[:, None]
    x += 10 ** (-80 / 20) * rng.standard_normal(x.shape)
    return x.astype(np.float32)


def slipped(x: Samples, at_s: list[float], frames: int) -> Samples:
    """Frames lost (or, below zero, played twice) at those times, on every track."""
    rows = np.arange(len(x))
    for each_s in at_s:
        rows[round(each_s * RATE) :] += frames
    return x[np.clip(rows, 0, len(x) - 1)]


def spans(x: Samples) -> list[tuple[float, float]]:
    """(now, onset) of each tick in which it is told."""
    detector, said = Clock(SCENE), []
    for m, feed in measurements(x, SCENE):
        condition = detector.update(m, feed)
        if condition.state[0] == State.ACTIVE:
            said.append((m.end_s, float(condition.onset_s[0])))
    return said


@pytest.mark.parametrize("frames", [64, -64, 256, -128])
def test_slips_are_told_at_the_third(frames: int) -> None:
    """Once a second on all inputs: from the first, and within three more of the third."""
    at_s = [5.13 + n * 1.0 for n in range(14)]
    said = spans(slipped(place(), at_s, frames))
    assert said
    assert at_s[0] - 0.01 <= said[0][1] <= at_s[1] + 0.01
    assert said[0][0] <= at_s[2] + 3.2


def test_slips_that_go_on_are_said_in_every_tick() -> None:
    """From the third to 2 s after the last, so that red comes when they go on for 10 s."""
    at_s = [5.13 + n * 1.0 for n in range(10)]
    said = spans(slipped(place(), at_s, 256))
    ticks = [now_s for now_s, _ in said]
    assert np.diff(ticks).max() < 1.1
    assert at_s[-1] + 1.5 <= ticks[-1] <= at_s[-1] + 2.2


def test_claps_spikes_and_mutes_are_no_slips() -> None:
    """A clap reaches each mic later, a spike comes back, a mute is no sound on one side."""
    x = place()
    rng = np.random.default_rng(3)
    for n in range(10):
        at = round((5.0 + n) * RATE)
        for track in range(10):
            clap = rng.standard_normal(2000) * np.exp(-np.arange(2000) / 200.0)
            x[at + 140 * track : at + 140 * track + 2000, track] += 0.2 * clap
        x[at + RATE // 4, :] += 0.1
        x[at + RATE // 2 : at + RATE // 2 + 3000] = 0.0
    assert not spans(x)


def test_one_input_alone_is_no_clock() -> None:
    """Slips of one input are not the clock of all."""
    x = place()
    x[:, 3] = slipped(x, [5.0 + n for n in range(9)], 64)[:, 3]
    assert not spans(x)


def test_live_sound_has_none() -> None:
    """Half a minute of a place with words says nothing."""
    assert not spans(place(30.0, seed=9))
