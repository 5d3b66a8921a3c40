"""The links of the second model of slow failures fade as theory says."""

from __future__ import annotations

import numpy as np
import pytest

from engine.model.early_signs import SignKind
from tests.benchmarks.early_signs import fading_links
from tests.benchmarks.early_signs.failures import Failing
from tests.benchmarks.night.sounds import white
from tests.benchmarks.night.voices import RATE

SECONDS = 20
DOPPLER_HZ = 3.0


def test_one_path_without_a_direct_wave_crosses_as_jakes_says(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Crossings a second and the share of time below are those of a Rayleigh channel: sqrt(2 pi) f
    r exp(-r^2) and 1 - exp(-r^2) (W. C. Jakes, 1974, ch. 1; from memory)."""
    monkeypatch.setattr(fading_links, "DIRECT", 0.0)
    rng = np.random.default_rng(1)
    t = np.arange(60 * fading_links.STEPS_HZ) / fading_links.STEPS_HZ
    paths = [np.abs(fading_links._path(t, DOPPLER_HZ, rng)) for _ in range(40)]
    ratio = 0.3
    down = np.array([path < ratio for path in paths])
    crossings = np.count_nonzero(down[:, 1:] & ~down[:, :-1]) / (40 * 60)
    expected = np.sqrt(2.0 * np.pi) * DOPPLER_HZ * ratio * np.exp(-(ratio**2))
    assert crossings == pytest.approx(expected, rel=0.1)
    assert down.mean() == pytest.approx(1.0 - np.exp(-(ratio**2)), rel=0.1)


def test_noise_grows_and_blocks_are_lost_as_the_margin_goes() -> None:
    """In health a link is clean; on its way it gets only worse."""
    sound = white(SECONDS * RATE, np.random.default_rng(2), -50.0)
    noise, lost = [], []
    for u in (0.0, 0.4, 0.8, 0.95):
        one, rng = Failing(SignKind.GAPS, 0.0), np.random.default_rng(3)
        noisy = fading_links.analogue(sound.copy(), one, u, rng)
        noise.append(float(np.square(noisy - sound).mean()))
        lost.append(float(np.mean(fading_links.digital(sound, one, u, rng) != sound)))
    assert noise == sorted(noise)
    assert 10.0 * np.log10(2.0 * noise[0]) < -70.0
    assert lost == sorted(lost)
    assert lost[0] == 0.0
    assert lost[-1] > 0.01
