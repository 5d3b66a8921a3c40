"""Which channels are sums of others."""

from __future__ import annotations

import numpy as np
import pytest

from engine.verify.mix_down import MOST_WINDOWS, WINDOW_S, mix_windows, mixed_of
from engine.verify.traces import TakeTrace
from tests.support.verify_signals import SLOW, levels, night

HOP_S = 0.01
PARTS = {0: 1.0, 3: 0.7, 5: 0.8}


@pytest.fixture(scope="module")
def sound() -> np.ndarray:
    """A hundred seconds of a night."""
    return night(100.0, rate=SLOW)


def trace(sound: np.ndarray) -> TakeTrace:
    """Its levels by hops."""
    return TakeTrace.of(levels(sound, HOP_S, SLOW), HOP_S)


def faded(sound: np.ndarray, seed: int) -> np.ndarray:
    """The sum of the parts, each fader ridden by some dB every ten seconds."""
    rng = np.random.default_rng(seed)
    at = np.arange(len(sound)) / SLOW
    made = np.zeros(len(sound))
    for channel, gain in PARTS.items():
        ridden_db = np.interp(at, np.arange(0.0, 101.0, 10.0), rng.normal(0.0, 3.0, 11))
        made += gain * 10.0 ** (ridden_db / 20.0) * sound[:, channel]
    return made


@pytest.mark.parametrize("seed", range(4))
def test_a_ridden_mix_is_told_with_its_parts(sound: np.ndarray, seed: int) -> None:
    """Faders that move hide neither that a channel is a sum nor of which channels."""
    mixed = trace(np.column_stack([sound, faded(sound, seed)]))
    assert mixed_of(mix_windows(mixed), 6, range(6)) == tuple(PARTS)


def test_a_sound_of_its_own_is_no_mix(sound: np.ndarray) -> None:
    """A mic that hears what no other does is none, nor is one that hears another's voice a
    reverberation later."""
    late = np.roll(sound[:, 2] + sound[:, 3], SLOW // 8)
    mixed = trace(np.column_stack([sound, night(100.0, seed=2, rate=SLOW)[:, 2], late]))
    windows = mix_windows(mixed)
    assert [mixed_of(windows, n, range(6)) for n in (6, 7)] == [(), ()]


def test_a_copy_of_one_channel_and_silence_are_no_mix(sound: np.ndarray) -> None:
    """One part alone makes no mix, and digital zero has none."""
    mixed = trace(np.column_stack([sound, 0.5 * sound[:, 3], 0.0 * sound[:, 3]]))
    windows = mix_windows(mixed)
    assert [mixed_of(windows, n, range(6)) for n in (6, 7)] == [(), ()]


def test_steady_noise_is_no_mix(sound: np.ndarray) -> None:
    """An open input lies as near to the noise of the others as a sum does, but does not move."""
    rng = np.random.default_rng(5)
    noise = rng.normal(0.0, 10 ** (-70 / 20), (len(sound), 2))
    mixed = trace(np.column_stack([sound, noise]))
    assert mixed_of(mix_windows(mixed), 7, range(7)) == ()


def test_a_long_take_is_looked_at_here_and_there() -> None:
    """Windows reach from begin to end, and there are never more than so many."""
    level = np.tile(np.arange(-60.0, -30.0, 0.5), 1000)[:, None]
    take = TakeTrace.of(level, HOP_S)
    windows = mix_windows(take)
    assert len(windows) == MOST_WINDOWS
    assert {len(window) for window in windows} == {round(WINDOW_S / HOP_S)}
    assert windows[-1][-1] == pytest.approx(level[-1])
