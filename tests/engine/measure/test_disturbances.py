"""Wind, rustle and blows are marked, speech is not. Models of `tests.support.harmless_sound` and of
physics: turbulence falls by 8 dB an octave (Strasberg, JASA 83, 1988)."""

from __future__ import annotations

from itertools import cycle

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from engine.measure.disturbances import Disturbance, Disturbances, Disturbing
from engine.model.messages import Measurement
from tests.support import harmless_sound as sound
from tests.support.signals import scene
from tests.support.watching import measurements

SECONDS = 40.0
THREE = scene(3, sound.RATE)


def quiet() -> list[sound.Wave]:
    """Three tracks on which somebody speaks now and then."""
    rng = np.random.default_rng(3)
    return [
        sound.room(SECONDS, -55.0, rng) + sound.voice(SECONDS, -26.0, rng, talks=0.4)
        for _ in range(3)
    ]


def part(x: sound.Wave, from_s: float, until_s: float) -> sound.Wave:
    """The wave between two times, and nothing else."""
    t = np.arange(len(x)) / sound.RATE
    return np.asarray(x * ((t >= from_s) & (t < until_s)))


def found(tracks: list[sound.Wave]) -> list[Disturbance]:
    """All that is marked of a take, looked at a second at a time."""
    return marked([m for m, _ in measurements(sound.takes(tracks), THREE)], (10,))


def marked(ticks: list[Measurement], together: tuple[int, ...]) -> list[Disturbance]:
    """All that is marked of those ticks, so many looked at together, in turn."""
    watch, marks, sizes = Disturbances(THREE), list[Disturbance](), cycle(together)
    while ticks:
        size = next(sizes)
        marks += watch.update(ticks[:size])
        ticks = ticks[size:]
    return marks + watch.finish()


def wind(peak: float) -> sound.Wave:
    """Gusts, deep and never steady."""
    rng = np.random.default_rng(8)
    white = rng.standard_normal(round(SECONDS * sound.RATE))
    deep = sosfilt(butter(2, (10.0, 60.0), "bandpass", fs=sound.RATE, output="sos"), white)
    gusts = deep * sound.swaying(SECONDS, rng, 0.8, 3.0)
    return np.asarray(gusts * peak / np.abs(gusts).max())


def test_speech_is_not_marked() -> None:
    """Voices in a room, with their hisses and bursts."""
    assert found(quiet()) == []


def test_wind_is_marked_with_its_peak() -> None:
    """From the first gust to the last, on its track, to within two seconds."""
    tracks = quiet()
    tracks[1] = tracks[1] + part(wind(0.5), 14.0, 30.0)
    (mark,) = found(tracks)
    assert (mark.what, mark.track_index) == (Disturbing.WIND, 1)
    assert abs(mark.from_s - 14.0) <= 2.0
    assert abs(mark.until_s - 30.0) <= 2.0
    peak = np.abs(tracks[1][round(mark.from_s * sound.RATE) : 30 * sound.RATE]).max()
    assert abs(mark.peak_dbfs - 20.0 * np.log10(peak)) < 1.0


def test_cloth_is_a_rustle_and_rain_is_not() -> None:
    """Bright noise of strokes on one track is marked; on all tracks it is weather."""
    rng = np.random.default_rng(5)
    tracks = quiet()

    def rub() -> sound.Wave:
        bright = sound.band(rng.standard_normal(len(tracks[0])), 300.0, 9000.0)
        stroke = 0.6 + 0.4 * np.sin(2.0 * np.pi * 1.7 * np.arange(len(bright)) / sound.RATE)
        return part(sound.at_level(bright, -26.0) * stroke, 12.0, 25.0)

    (mark,) = found([tracks[0] + rub(), *tracks[1:]])
    assert (mark.what, mark.track_index) == (Disturbing.RUSTLE, 0)
    assert abs(mark.from_s - 12.0) <= 2.0
    assert abs(mark.until_s - 25.0) <= 2.0
    assert found([track + rub() for track in tracks]) == []


def strike(track: np.ndarray) -> None:
    """A blow each second from 12 to 22 s: 60 Hz that is gone in a fifth of a second."""
    t = np.arange(round(0.4 * sound.RATE)) / sound.RATE
    blow = 0.6 * np.sin(2.0 * np.pi * 60.0 * t) * np.exp(-t / 0.05)
    for second in range(12, 22):
        at = round((second + 0.037 * (second % 7)) * sound.RATE)
        track[at : at + len(blow)] += blow


def test_blows_are_hits() -> None:
    """One each second for ten seconds."""
    tracks = quiet()
    strike(tracks[2])
    marks = found(tracks)
    assert [(m.what, m.track_index) for m in marks] == [(Disturbing.HITS, 2)]
    assert abs(marks[0].from_s - 12.0) <= 2.0
    assert abs(marks[0].until_s - 22.0) <= 2.0


@pytest.mark.parametrize(("blows", "marks"), [(2, 0), (3, 1)])
@pytest.mark.parametrize("hz", [50.0, 70.0])
def test_three_blows_are_hits_where_nobody_speaks(blows: int, marks: int, hz: float) -> None:
    """Each counts once, wherever it lies in a tick, and though nothing is loud any more when it is
    known to be over."""
    rng = np.random.default_rng(9)
    tracks = [sound.room(SECONDS, -55.0, rng) for _ in range(3)]
    t = np.arange(round(0.4 * sound.RATE)) / sound.RATE
    for n in range(blows):
        at = round((12.0 + 2.913 * n) * sound.RATE)
        tracks[1][at : at + len(t)] += 0.6 * np.sin(2.0 * np.pi * hz * t) * np.exp(-t / 0.03)
    assert [mark.what for mark in found(tracks)] == [Disturbing.HITS] * marks


def test_marks_are_the_same_however_many_ticks_come_together() -> None:
    """Wind, a rustle and blows on three tracks, bit for bit."""
    rng = np.random.default_rng(4)
    tracks = quiet()
    strike(tracks[2])
    tracks[1] = tracks[1] + part(wind(0.5), 14.0, 30.0)
    cloth = sound.at_level(sound.band(rng.standard_normal(len(tracks[0])), 300.0, 9000.0), -26.0)
    tracks[0] = tracks[0] + part(cloth, 20.0, 26.0)
    ticks = [m for m, _ in measurements(sound.takes(tracks), THREE)]
    one_by_one = marked(ticks, (1,))
    assert {mark.what for mark in one_by_one} == set(Disturbing)
    for together in ((10,), (3, 1, 7), (2, 10)):
        assert marked(ticks, together) == one_by_one


def test_a_steady_rumble_fainter_than_speech_is_not_marked() -> None:
    """An engine far off."""
    tracks = [track + 0.002 * wind(1.0) for track in quiet()]
    assert found(tracks) == []
