"""Lines at multiples of the mains, against sines whose numbers are known."""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.mains_lines import (
    LINES,
    STEP_S,
    is_engine,
    line_steps,
    steps_since,
    tuned_lines,
)

RATE_HZ = 2_000.0


def line(hz: float, amplitude: float, seconds: float = 2.6) -> np.ndarray:
    """One sine."""
    at_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return (amplitude * np.sin(2.0 * np.pi * hz * at_s)).astype(np.float32)


def test_a_steady_line_has_one_amplitude_and_phase() -> None:
    """Of a sine on a multiple each step gives the sine's own amplitude, at one phase."""
    z = line_steps(line(150.0, 0.02), RATE_HZ, 50.0, np.array([3]))[:, 0]
    assert np.abs(z) == pytest.approx(0.02, rel=1e-3)
    assert np.ptp(np.unwrap(np.angle(z))) < 0.01


@pytest.mark.parametrize("hz", [49.8, 50.0, 50.13, 60.2])
def test_the_frequency_is_read_from_the_phase(hz: float) -> None:
    """Begun a tenth of a hertz off, the mains frequency is found to a few millihertz."""
    sound = line(hz, 0.01) + line(3 * hz, 0.03)
    z, found_hz = tuned_lines(sound, RATE_HZ, hz + 0.1)
    assert found_hz == pytest.approx(hz, abs=0.01)
    assert np.median(np.abs(z[:, 2])) == pytest.approx(0.03, rel=0.05)


def test_the_begin_is_where_the_line_began() -> None:
    """A line that began 1.6 s ago stands for as many steps; where there is none, it says so."""
    sound = np.concatenate([np.zeros(2_000, np.float32), line(50.0, 0.01, 1.6)])
    z = line_steps(sound, RATE_HZ, 50.0, np.array([1]))[:, 0]
    assert steps_since(z, 6, 0.6) == pytest.approx(1.6 / STEP_S, abs=1.5)
    assert steps_since(np.zeros(10, complex), 6, 0.6) is None


@pytest.mark.parametrize(
    ("between_db", "sways", "engine"),
    [
        (-8.0, 0.0, True),
        (-8.0, 0.004, True),
        (-12.0, 0.0, False),
        (-12.0, 0.004, False),
    ],
)
@pytest.mark.parametrize("turns_hz", [25.3, 29.9])
def test_half_turns_tell_an_engine(
    turns_hz: float, between_db: float, sways: float, engine: bool
) -> None:
    """A generator set whose every second cylinder fires as strongly but for a few per cent has
    fainter lines between those of the mains; down to 10 dB under these they tell, though its
    governor lets it sway. So faint ones are a voice's or the place's."""
    at_s = np.arange(round(2.6 * RATE_HZ)) / RATE_HZ
    speed = 1.0 + sways * np.sin(2.0 * np.pi * 0.4 * at_s)
    turned = 2.0 * np.pi * turns_hz * np.cumsum(speed) / RATE_HZ
    gains = np.where(np.arange(1, 13) % 2, 10.0 ** (between_db / 20.0), 1.0)
    sound = sum(0.01 * gain * np.sin(n * turned + n) for n, gain in enumerate(gains, start=1))
    power = np.zeros(LINES)
    power[:6] = 1e-4
    assert is_engine(np.asarray(sound, np.float32), RATE_HZ, 2.0 * turns_hz, power) is engine
