"""The energy of sibilants, against trigonometry."""

import numpy as np
import pytest

from engine.measure.sibilance import Sibilance
from engine.model.messages import PackLevel
from engine.model.tracks import Scene, Track
from tests.support.signals import sine

RATES_HZ = (44_100, 48_000, 96_000, 192_000)


def scene(rate_hz: int) -> Scene:
    """A boom and the two packs of a performer."""
    packs = (
        Track(n + 2, who="foreman", level=level)
        for n, level in enumerate((PackLevel.MAIN, PackLevel.SAFETY))
    )
    return Scene((Track(1), *packs), rate_hz)


def gain(hz: float, rate_hz: int, size: int) -> float:
    """Of the mean of so many samples and the second difference of these, by amplitude."""
    w = np.pi * hz / rate_hz
    return float(np.sin(size * w) / (size * np.sin(w)) * 4.0 * np.sin(size * w) ** 2)


@pytest.mark.parametrize("hz", [300.0, 1_000.0, 4_000.0, 7_000.0])
@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_sine_has_the_energy_of_its_frequency(hz: float, rate_hz: int) -> None:
    """On packs that are compared, in every hop but the first; on other tracks none is measured."""
    x = np.repeat(sine(-20.0, 0.2, rate_hz, hz).T, 3, axis=0)
    energy = Sibilance(scene(rate_hz))(np.ascontiguousarray(x), 20, 2)
    size = {44_100: 3, 48_000: 4, 96_000: 8, 192_000: 16}[rate_hz]
    expected = np.square(x[0]).mean() * gain(hz, rate_hz, size) ** 2
    assert energy.shape == (3, 20)
    assert not energy[0].any()
    assert np.delete(energy[1], [0, 10]) == pytest.approx(expected, rel=0.1)
    assert np.array_equal(energy[1], energy[2])


def test_it_rises_up_to_where_sibilants_lie() -> None:
    """By 12 dB an octave from 500 Hz to 2 kHz; what a link ends with counts less than 6 kHz."""
    tones = np.array([sine(-20.0, 0.1, 48_000, hz)[:, 0] for hz in (500.0, 2_000.0, 11_500.0)])
    low, high, end = (
        float(Sibilance(scene(48_000))(np.tile(tone, (3, 1)), 10)[1, 1:].mean()) for tone in tones
    )
    assert 10.0 * np.log10(high / low) == pytest.approx(24.0, abs=1.5)
    assert end < high


def test_no_pair_no_energy() -> None:
    """Where nobody has two packs nothing is measured."""
    alone = Scene((Track(1), Track(2)), 48_000)
    assert not Sibilance(alone)(np.ones((2, 4800), dtype=np.float32), 10).any()
