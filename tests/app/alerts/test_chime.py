"""Sounds, and the thread that plays them.

Figures named are those of IEC 60601-1-8 with its Amendment 1, tables 3 and 4, as makers of buzzers
summarise them (the standard was not read); it is a model here, not a claim of conformity.
"""

from __future__ import annotations

import threading

import numpy as np
import pytest

from app.alerts import chime
from app.alerts.chime import NOTES, RATE_HZ, Player, Sound, burst
from app.alerts.chime_schedule import FLOOD_S


@pytest.mark.parametrize("sound", list(Sound))
def test_peak_lies_at_the_asked_level(sound: Sound) -> None:
    """The loudest sample is at the level asked, so that the chosen level is a promise."""
    peak = np.abs(burst(sound, -18.0)).max()
    assert 20 * np.log10(peak) == pytest.approx(-18.0, abs=0.01)


@pytest.mark.parametrize("sound", list(Sound))
def test_begins_and_ends_softly(sound: Sound) -> None:
    """No click: it starts at zero, ends near zero, and no step is large."""
    samples = burst(sound)
    assert abs(samples[0]) < 1e-3
    assert abs(samples[-1]) < 1e-3
    assert np.abs(np.diff(samples)).max() < 0.5


def pulses_of(samples: np.ndarray) -> tuple[int, float]:
    """Number of pulses and the time from the first to the last."""
    loud = np.abs(samples) > 1e-4
    window = loud[: len(loud) // 480 * 480].reshape(-1, 480).any(axis=1)
    begins = np.flatnonzero(np.diff(window.astype(int), prepend=0) == 1)
    return len(begins), (begins[-1] - begins[0]) / 100


def test_more_urgent_is_more_and_faster() -> None:
    """Back to normal has two pulses, amber three, red a figure of five, uncovered one of five
    twice; from amber on each comes faster (IEC 60601-1-8: low 1 or 2, medium 3, high 5 twice)."""
    found = {sound: pulses_of(burst(sound)) for sound in Sound}
    assert [found[s][0] for s in Sound] == [2, 3, 5, 10]
    pace = [found[s][1] / (found[s][0] - 1) for s in (Sound.AMBER, Sound.RED, Sound.UNCOVERED)]
    assert pace == sorted(pace, reverse=True)
    assert len(set(pace)) == 3


def pitch(samples: np.ndarray) -> float:
    """The lowest strong frequency, Hz."""
    spectrum = np.abs(np.fft.rfft(samples, RATE_HZ))
    return float(np.flatnonzero(spectrum > 0.5 * spectrum.max())[0])


def test_back_to_normal_falls() -> None:
    """Its second pulse is lower than its first: nothing else does only that."""
    samples = burst(Sound.BACK)
    half = len(samples) // 2
    assert pitch(samples[:half]) > pitch(samples[half:])


@pytest.mark.parametrize("sound", list(Sound))
def test_bursts_end_before_the_next_may_begin(sound: Sound) -> None:
    """No burst lasts longer than the time in which only one may sound."""
    assert len(burst(sound)) / RATE_HZ < FLOOD_S


@pytest.mark.parametrize("pitch_hz", sorted({hz for notes in NOTES.values() for hz, _ in notes}))
def test_harmonics_stand_where_the_model_has_them(pitch_hz: float) -> None:
    """The fundamental lies between 150 and 1000 Hz, and the four largest peaks between 150 and
    4000 Hz are within 15 dB of each other (IEC 60601-1-8)."""
    assert 150.0 <= pitch_hz <= 1000.0
    spectrum = np.abs(np.fft.rfft(chime.pulse(pitch_hz, 0.24), RATE_HZ))
    peaks = [spectrum[round(pitch_hz * n)] for n in range(1, int(4000.0 / pitch_hz) + 1)]
    largest = sorted(peaks, reverse=True)[:4]
    assert len(largest) == 4
    assert 20.0 * np.log10(largest[0] / largest[3]) <= 15.0


def test_player_says_what_is_wrong_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """A missing sound device is said once, and the thread goes on and ends when told."""
    told: list[str] = []
    done = threading.Event()

    def broken(_sound: Sound, _level_db: float) -> None:
        raise OSError("no such\ndevice")

    monkeypatch.setitem(__import__("sys").modules, "sounddevice", object())
    monkeypatch.setattr(chime, "burst", broken)
    player = Player(told.append)
    for _ in range(3):
        player.play(Sound.RED, chime.ChimeSettings())
    player.ask(lambda: 1, lambda _found: done.set())
    assert done.wait(5)
    player.close()
    assert told == ["no such device"]


@pytest.mark.parametrize("name", ["", "Monitor"])
def test_a_machine_without_outputs_is_said_plainly(
    monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    """Not the audio library's number for it, but what is missing."""

    class InputsOnly:
        def query_devices(self) -> list[dict[str, object]]:
            return [{"index": 0, "name": "Field interface", "max_output_channels": 0}]

    monkeypatch.setitem(__import__("sys").modules, "sounddevice", InputsOnly())
    with pytest.raises(OSError, match="no output found"):
        chime._output(name)
