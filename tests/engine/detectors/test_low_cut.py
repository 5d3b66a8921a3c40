"""Overloads that a low cut followed, undone.

Low cuts are Butterworth high-passes of the first to third order, as mixers have them, an
anti-aliasing filter is a low-pass, a resampler a polyphase one (`scipy.signal`).
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import signal

from engine.detectors.clipped import Clipped
from engine.detectors.low_cut import HeldTops, held_tops
from engine.model.messages import State
from tests.engine.detectors.test_clipped import voice
from tests.support.signals import noise, scene, sine
from tests.support.watching import told

RATE = 48_000
Wave = NDArray[np.float64]


def behind(wave: Wave, order: int, corner_hz: float, rate_hz: int = RATE) -> Wave:
    """After a low cut, a link's low-pass, a change of the rate and a converter's noise."""
    wave = signal.sosfilt(signal.butter(order, corner_hz, "highpass", fs=RATE, output="sos"), wave)
    wave = signal.sosfilt(signal.butter(4, 18_000, fs=RATE, output="sos"), wave)
    if rate_hz != RATE:
        step = np.gcd(rate_hz, RATE)
        wave = signal.resample_poly(wave, rate_hz // step, RATE // step)
    hiss = 1e-5 * np.random.default_rng(5).standard_normal(len(wave))
    return np.asarray(wave + hiss)


def rows(wave: Wave, rate_hz: int = RATE) -> list[HeldTops | None]:
    """What is said of each tenth of a second, the settling of the filters left out."""
    tick = rate_hz // 10
    starts = range(2 * tick, len(wave) - tick, tick)
    return [held_tops(wave[at : at + tick].astype(np.float32), rate_hz) for at in starts]


def overload(over_db: float, seed: int = 7) -> Wave:
    """A voice that is driven over a ceiling of 0.3."""
    x = 0.3 * voice(3.0, seed=seed)[:, 0].astype(np.float64)
    return np.asarray(np.clip(10.0 ** (over_db / 20.0) * x, -0.3, 0.3))


@pytest.mark.parametrize("rate_hz", [44_100, RATE, 96_000])
@pytest.mark.parametrize(("order", "corner_hz"), [(1, 80.0), (2, 60.0), (2, 120.0), (3, 80.0)])
def test_what_was_held_is_known_behind_a_low_cut(
    order: int, corner_hz: float, rate_hz: int
) -> None:
    """At any order and rate, with the ceiling that the overload had before it."""
    said = [one for one in rows(behind(overload(10.0), order, corner_hz, rate_hz), rate_hz) if one]
    assert len(said) >= 15
    for one in said:
        assert np.abs(one.ceiling) == pytest.approx(0.3, rel=0.1)
        assert np.all(one.length > 0)
        assert np.all(one.start + one.length < rate_hz // 10)


@pytest.mark.parametrize("order", [1, 2, 3])
def test_a_voice_that_nothing_cut_has_no_such_tops(order: int) -> None:
    """Behind the same low cut: clean, held level by a limiter, or bent by a soft knee."""
    for seed in range(4):
        clean = 0.3 * voice(3.0, 90.0 + 30.0 * seed, seed)[:, 0].astype(np.float64)
        for wave in (clean, 0.3 * np.tanh(3.0 * clean / 0.3)):
            assert not any(rows(behind(wave, order, 60.0)))


@pytest.mark.parametrize("hz", [40.0, 110.0, 440.0, 997.0])
def test_tones_are_not_held(hz: float) -> None:
    """Smooth everywhere, and explained by a resonance alone."""
    tone = sine(-6.0, 2.0, RATE, hz=hz)[:, 0].astype(np.float64)
    third = sine(-26.0, 2.0, RATE, hz=3.0 * hz)[:, 0]
    assert not any(rows(tone) + rows(tone + third))


def test_a_short_or_silent_row_has_none() -> None:
    """There is nothing to fit."""
    assert held_tops(np.zeros(4800, dtype=np.float32), RATE) is None
    assert held_tops(np.full(12, 0.5, dtype=np.float32), RATE) is None


@pytest.mark.parametrize(("order", "corner_hz"), [(2, 60.0), (2, 100.0), (3, 80.0)])
def test_the_overload_is_told_within_half_a_second(order: int, corner_hz: float) -> None:
    """And goes on; the detail gives its ceiling before the low cut."""
    x = 0.3 * voice(4.0)[:, 0].astype(np.float64)
    x[RATE:] = np.clip(10.0**0.5 * x[RATE:], -0.3, 0.3)
    where = scene()
    detector = Clipped(where)
    said = told(detector, behind(x, order, corner_hz).astype(np.float32)[:, None], where)
    assert 10 <= said.states.index(State.ACTIVE) <= 14
    assert said.may_be_red
    ceiling_dbfs = float(detector.detail(0).split()[-2].replace("\u2212", "-"))
    assert ceiling_dbfs == pytest.approx(-10.5, abs=1.0)


def test_nothing_is_held_under_what_was_higher_lately() -> None:
    """Clicks on both sides, above all that the overload lets through, once in a second."""
    x = behind(overload(10.0), 2, 60.0)
    x[RATE // 100 :: RATE] = 0.9
    x[RATE // 50 :: RATE] = -0.9
    where = scene()
    assert State.ACTIVE not in told(Clipped(where), x.astype(np.float32)[:, None], where).states


@pytest.mark.parametrize("corner_hz", [4.0, 8.0, 20.0])
def test_a_contact_that_bounces_behind_its_capacitor_is_not_held(corner_hz: float) -> None:
    """It opens for 10 ms and bounces three times at once: a bias that stood still leans as a held
    top does."""
    rng = np.random.default_rng(6)
    bias = np.zeros(4 * RATE)
    heard = noise(-62.0, 4.0, RATE)[:, 0]
    for at in range(RATE // 4, len(bias) - RATE // 10, RATE // 3):
        bias[at : at + RATE // 100] = rng.uniform(0.1, 0.3)
        heard[at : at + RATE // 100] *= 0.02
        for _ in range(3):
            closed = at + int(rng.integers(8, 120))
            bias[closed : closed + int(rng.integers(4, 20))] = 0.0
    sos = signal.butter(1, corner_hz, "highpass", fs=RATE, output="sos")
    x = signal.sosfilt(sos, bias) + heard
    assert not any(rows(x))
