"""The shape of a pop, as circuit theory has it."""

from __future__ import annotations

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from engine.detectors import pop_shape
from engine.detectors.pop_shape import is_sudden
from engine.model.messages import Samples

RATE = 48_000
AT = 960


def stands_out(x: Samples) -> bool:
    """Twelve times over the errors before."""
    return pop_shape.stands_out(x, AT, pop_shape.forecast(x, AT, RATE), 12.0)


def stays(x: Samples, rate_hz: int = RATE) -> bool:
    """That one step."""
    return pop_shape.stays(x, AT, AT, pop_shape.forecast(x, AT, rate_hz), rate_hz)


def stepped(height: float, falls_s: float, seed: int = 1) -> Samples:
    """Noise of 0.001, and behind sample `AT` a step that falls by e in so many seconds."""
    x = np.random.default_rng(seed).normal(0.0, 1e-3, 4 * AT)
    x[AT + 1 :] += height * np.exp(-np.arange(3 * AT - 1) / (falls_s * RATE))
    return x


@given(height=st.floats(0.05, 0.8), falls_s=st.floats(0.002, 0.1), seed=st.integers(0, 99))
def test_a_bias_that_jumps_is_an_outlier_that_stays(
    height: float, falls_s: float, seed: int
) -> None:
    """Up or down, however fast its coupling lets it go again."""
    for x in (stepped(height, falls_s, seed), stepped(-height, falls_s, seed)):
        assert stands_out(x)
        assert stays(x)
        assert is_sudden(x, AT, RATE)
    assert not stands_out(stepped(0.002, falls_s, seed))


def test_vowels_foretell_themselves() -> None:
    """Nothing stands out of a vowel of lines; a step of half its height or more does, and of a
    hundred all but a few keep their shape, whatever the vowel does meanwhile."""
    rng = np.random.default_rng(4)
    kept = 0
    for _ in range(100):
        t = (np.arange(4 * AT) + rng.integers(400)) / RATE
        hz, falls_s = rng.uniform(110.0, 300.0), rng.uniform(0.003, 0.02)
        vowel = sum(np.cos(2.0 * np.pi * hz * n * t + n) / n**2 for n in range(1, 12))
        x = 0.08 * vowel + rng.normal(0.0, 3e-5, 4 * AT)
        assert not stands_out(x)
        x[AT + 1 :] += rng.uniform(0.1, 0.4) * np.exp(-np.arange(3 * AT - 1) / (falls_s * RATE))
        assert stands_out(x)
        kept += stays(x)
    assert kept >= 90


@given(seed=st.integers(0, 999), falls_s=st.floats(0.0002, 0.002))
def test_a_drop_goes_on(seed: int, falls_s: float) -> None:
    """Noise that decays within a millisecond or so."""
    rng = np.random.default_rng(seed)
    x = rng.normal(0.0, 1e-3, 4 * AT)
    drop = rng.standard_normal(3 * AT - 1) * np.exp(-np.arange(3 * AT - 1) / (falls_s * RATE))
    x[AT + 1 :] += 0.3 * drop / np.abs(drop[:3]).max()
    assert not is_sudden(x, AT, RATE) or not stays(x)


@given(hz=st.floats(1500.0, 8000.0), falls_s=st.floats(0.0005, 0.02))
def test_what_rings_does_not_stay(hz: float, falls_s: float) -> None:
    """A drop, a key, a board that was struck."""
    t = np.arange(3 * AT - 1) / RATE
    x = np.random.default_rng(1).normal(0.0, 1e-4, 4 * AT)
    x[AT + 1 :] += np.cos(2.0 * np.pi * hz * t) * np.exp(-t / falls_s)
    assert not stays(x)


@given(rise_s=st.floats(0.0005, 0.003), falls_s=st.floats(0.02, 0.08))
def test_a_plosive_is_not_sudden(rise_s: float, falls_s: float) -> None:
    """A jet from the mouth comes in a millisecond: here where it is steepest."""
    t = np.arange(3 * AT - 1) / RATE
    x = np.random.default_rng(1).normal(0.0, 1e-4, 4 * AT)
    x[AT + 1 :] += 0.8 * (1.0 - np.exp(-t / rise_s)) ** 2 * np.exp(-t / falls_s)
    at = int(np.abs(np.diff(x)).argmax())
    assert not pop_shape.stays(x, at, at, pop_shape.forecast(x, at, RATE), RATE)


@given(hz=st.floats(90.0, 300.0), at=st.integers(0, 400))
def test_a_voice_that_is_cut_off_is_no_pop(hz: float, at: int) -> None:
    """It comes to rest, by a step that is heard, and no bias holds it elsewhere."""
    t = (np.arange(AT + 1) + at) / RATE
    x = np.random.default_rng(1).normal(0.0, 1e-4, 4 * AT)
    x[: AT + 1] += 0.1 * sum(np.cos(2.0 * np.pi * hz * n * t + n * n) / n for n in range(1, 25))
    assume(abs(x[AT]) > 0.05)
    assert not stays(x)


def test_a_contact_that_bounces_holds_after_its_last_step() -> None:
    """Two short closings in the first half millisecond."""
    x = stepped(0.2, 0.01)
    for first in (AT + 7, AT + 17):
        x[first : first + 4] -= 0.2
    last = pop_shape.last_step(x, AT, RATE)
    assert AT + 15 <= last <= AT + 22
    assert pop_shape.stays(x, AT, last, pop_shape.forecast(x, AT, RATE), RATE)
    assert not stays(x)
