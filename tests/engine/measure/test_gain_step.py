"""A gain turned by hand, on sound made from physics. Common practice, no source."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from engine.measure.meter import Meter
from engine.model.messages import Samples
from engine.model.tracks import Scene, Track
from tests.support import harmless_sound as sound

AT_S = 20.0
SECONDS = 34.0
SCENE = Scene((Track(1), Track(2)), sound.RATE)


@pytest.fixture(scope="module")
def two() -> Samples:
    """A pack somebody speaks into, and one that hears another place; shape (frames, 2)."""
    rng = np.random.default_rng(5)
    own = sound.voice(SECONDS, -24.0, rng, talks=0.3) + sound.room(SECONDS, -56.0, rng)
    return sound.takes([own, sound.room(SECONDS, -60.0, rng)])


def steps(samples: Samples) -> list[tuple[float, float, float]]:
    """(second, step of the first track, of the second) of each tick that recognised one."""
    meter, found = Meter(SCENE), []
    for first in range(0, len(samples) - meter.tick_frames + 1, meter.tick_frames):
        m = meter.update(samples[first : first + meter.tick_frames])
        if m.gain_step_db.any():
            found.append((m.end_s, float(m.gain_step_db[0]), float(m.gain_step_db[1])))
    return found


@pytest.mark.parametrize("gain_db", [-15.0, -10.0, 10.0])
def test_a_gain_turned_is_recognised(two: Samples, gain_db: float) -> None:
    """Up or down, within the seconds that its pauses take, to 1.5 dB, and once."""
    x = two.copy()
    x[:, 0] = sound.amplified(x[:, 0], gain_db, AT_S)
    ((at_s, step_db, other_db),) = steps(x)
    assert AT_S < at_s < AT_S + 10.0
    assert step_db == pytest.approx(gain_db, abs=1.5)
    assert other_db == 0.0


@pytest.mark.parametrize("seed", [1, 2, 4])
def test_a_pad_of_twenty_decibels_is_recognised_as_soon_as_any_trim(seed: int) -> None:
    """Its quiet moments say 20 dB to within one or two."""
    rng = np.random.default_rng(seed)
    own = sound.voice(SECONDS, -20.0, rng, talks=0.3) + sound.room(SECONDS, -50.0, rng)
    x = sound.takes([own, sound.room(SECONDS, -60.0, rng)])
    x[:, 0] = sound.amplified(x[:, 0], -20.0, AT_S)
    ((at_s, step_db, _),) = steps(x)
    assert at_s < AT_S + 5.0
    assert step_db == pytest.approx(-20.0, abs=1.5)


def test_the_floor_follows(two: Samples) -> None:
    """The learned floor is lower by the step, at once."""
    x = two.copy()
    x[:, 0] = sound.amplified(x[:, 0], -10.0, AT_S)
    meter = Meter(SCENE)
    ticks = x[: len(x) - len(x) % meter.tick_frames].reshape(-1, meter.tick_frames, 2)
    floors = [float(meter.update(tick).floor_dbfs[0]) for tick in ticks]
    assert floors[-1] == pytest.approx(floors[round(AT_S * 10) - 5] - 10.0, abs=3.0)


@pytest.mark.parametrize("what", ["nothing", "cloth", "gain at its stop", "on both"])
def test_what_is_no_trim_is_none(two: Samples, what: str) -> None:
    """A covered mic loses its treble first, a gain at its stop is a loss, and a place that gets
    quieter is heard by both."""
    x = two.copy()
    first = round(AT_S * sound.RATE)
    if what == "cloth":
        sos = butter(1, 700.0, fs=sound.RATE, output="sos")
        x[first:, 0] = 0.4 * sosfilt(sos, x[first:, 0])
    elif what == "gain at its stop":
        x[first:, 0] *= np.float32(10 ** (-30 / 20))
    elif what == "on both":
        x[first:] *= np.float32(10 ** (-8 / 20))
    assert steps(x) == []


def test_a_quiet_ambience_that_is_turned_down() -> None:
    """A room of 30 dB SPL that ends under -75 dBFS is still a room, 8 dB lower."""
    rng = np.random.default_rng(6)
    x = sound.takes([sound.room(SECONDS, -69.0, rng), sound.room(SECONDS, -66.0, rng)])
    x[:, 0] = sound.amplified(x[:, 0], -9.0, AT_S)
    ((_, step_db, _),) = steps(x)
    assert step_db == pytest.approx(-9.0, abs=1.5)


def test_what_is_left_of_a_lost_sound_may_sway() -> None:
    """40 dB down, it falls by 9 dB once more: no turn of what was learned."""
    rng = np.random.default_rng(7)
    x = sound.takes([sound.room(SECONDS, -50.0, rng), sound.room(SECONDS, -66.0, rng)])
    x[:, 0] = sound.amplified(sound.amplified(x[:, 0], -40.0, 11.0), -9.0, 22.0)
    assert steps(x) == []
