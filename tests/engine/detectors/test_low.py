"""Low: 20 s of speech, far below a usable level.

Frames, seconds and limits as CONTRACT.md has them; levels are AES17 RMS.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.low import Low
from engine.model.messages import Kind, PackLevel, Samples, State
from engine.model.tracks import Scene, Track
from tests.support.detector_tracks import words
from tests.support.signals import noise, scene
from tests.support.watching import Told, lost, told

RATE = 8_000
ON, OFF = 0.4, 0.2
"""Syllables: two thirds of the time is speech."""


def talk(dbfs: float, seconds: float, floor_dbfs: float = -80.0) -> Samples:
    """Speech at that RMS over a live floor."""
    x = words(dbfs, seconds, RATE, ON, OFF) + noise(floor_dbfs, seconds, RATE, seed=2)
    return np.asarray(x, dtype=np.float32)


def watched(x: Samples, where: Scene) -> Told:
    """What is told of the first track."""
    return told(Low(where), x, where)


def test_told_after_twenty_seconds_of_speech_and_never_red() -> None:
    """Speech at -50 dBFS is told once it was heard for 20 s, from where it began."""
    said = watched(talk(-50.0, 45.0), scene(rate_hz=RATE))
    ((onset_s, _),) = said.spans_s
    assert onset_s == pytest.approx(0.0, abs=0.5)
    raised_s = said.states.index(State.ACTIVE) * 0.1
    assert raised_s == pytest.approx(20.0 * (ON + OFF) / ON, abs=1.5)
    assert not said.may_be_red


@pytest.mark.parametrize(
    ("level", "dbfs", "is_low"),
    [
        (PackLevel.MAIN, -46.5, True),
        (PackLevel.MAIN, -43.5, False),
        (PackLevel.SAFETY, -63.5, True),
        (PackLevel.SAFETY, -60.5, False),
    ],
)
def test_the_limit_depends_on_the_pack(level: PackLevel, dbfs: float, is_low: bool) -> None:
    """A main is low under -45 dBFS, a safety under -62."""
    said = watched(talk(dbfs, 40.0), scene(rate_hz=RATE, level=level))
    assert (State.ACTIVE in said.states) is is_low


@pytest.mark.parametrize(
    ("turned_db", "with_the_place", "is_low"),
    [(-10.0, True, False), (-20.0, True, True), (-10.0, False, True)],
    ids=["a trim", "far more than a trim", "the voice alone fell"],
)
def test_a_gain_turned_down_by_hand_takes_the_limit_along(
    turned_db: float, with_the_place: bool, is_low: bool
) -> None:
    """Speech at -37 dBFS for a minute, then all of the track steps: a hand meant it."""
    seconds, at = 140.0, 60 * RATE
    gain = np.ones((round(seconds * RATE), 1), dtype=np.float32)
    gain[at:] = 10.0 ** (turned_db / 20.0)
    voice, place = words(-37.0, seconds, RATE, ON, OFF), noise(-62.0, seconds, RATE, seed=9)
    track = (voice + place) * gain if with_the_place else voice * gain + place
    x = np.hstack([track] + [noise(-62.0, seconds, RATE, seed=n) for n in range(4)])
    assert (State.ACTIVE in watched(x, scene(5, rate_hz=RATE)).states) is is_low


def test_nobody_talks() -> None:
    """A quiet place without speech is not low, however faint."""
    x = noise(-75.0, 60.0, RATE)
    assert State.ACTIVE not in watched(x, scene(rate_hz=RATE)).states


def test_fewer_seconds_are_not_enough() -> None:
    """Less than 20 s of speech prove nothing."""
    assert State.ACTIVE not in watched(talk(-50.0, 28.0), scene(rate_hz=RATE)).states


def test_it_ends_when_someone_talks_at_a_usable_level() -> None:
    """A second of normal speech ends it."""
    x = np.concatenate([talk(-50.0, 40.0), talk(-25.0, 3.0)])
    assert watched(x, scene(rate_hz=RATE)).states[-1] is State.CLEAR


def test_a_gain_that_falls_in_the_middle() -> None:
    """Voice and place that fall by 30 dB together are told: the floor falls with them."""
    x = np.concatenate([talk(-25.0, 20.0, -58.0), talk(-55.0, 50.0, -88.0)])
    ((onset_s, _),) = watched(x, scene(rate_hz=RATE)).spans_s
    assert onset_s == pytest.approx(20.0, abs=4.0)


def test_a_neighbours_voice_is_not_this_one() -> None:
    """Spill of another performer's voice, 25 dB down, leaves a silent performer's track alone."""
    where = Scene((Track(1, who="rigger"), Track(2, who="foreman")), RATE)
    loud = talk(-25.0, 60.0, -62.0)
    x = np.concatenate([loud * np.float32(10 ** (-25 / 20)), loud], axis=1)
    assert State.ACTIVE not in watched(x, where).states


def test_what_rises_as_far_over_all_floors_is_no_voice() -> None:
    """An aircraft, 20 dB over the place for half a minute, on packs whose gains differ by 8 dB."""
    where = Scene((Track(1, who="rigger"), Track(2, who="foreman")), RATE)
    place = noise(-72.0, 70.0, RATE, seed=4, tracks=2)
    t = np.arange(len(place))[:, None] / RATE
    aircraft = noise(-52.0, 70.0, RATE, seed=5) * (np.abs(t - 45.0) < 15.0)
    x = ((place + aircraft) * np.array([1.0, 10 ** (8.0 / 20)])).astype(np.float32)
    assert State.ACTIVE not in watched(x, where).states


def test_what_hums_beside_one_of_them_is_no_voice() -> None:
    """A compressor that starts beside one who said little, 24 dB over the place for half a
    minute."""
    where = Scene((Track(1, who="rigger"), Track(2, who="foreman")), RATE)
    x = noise(-72.0, 70.0, RATE, seed=4, tracks=2)
    x[20 * RATE : 30 * RATE, :1] += words(-25.0, 10.0, RATE, ON, OFF)
    compressor = noise(-48.0, 30.0, RATE, seed=5) * np.array([1.0, 0.3])
    x[35 * RATE : 65 * RATE] += compressor.astype(np.float32)
    assert State.ACTIVE not in watched(x, where).states


def test_the_other_pack_of_a_performer_is_no_neighbour() -> None:
    """A main that is 30 dB under its own safety is low all the same."""
    where = Scene(
        (
            Track(1, who="rigger", level=PackLevel.MAIN),
            Track(2, who="rigger", level=PackLevel.SAFETY),
        ),
        RATE,
    )
    x = np.concatenate([talk(-60.0, 45.0, -90.0), talk(-30.0, 45.0, -70.0)], axis=1)
    assert State.ACTIVE in watched(x, where).states


def test_ambience_has_no_speech_to_be_low() -> None:
    """On a crowd microphone nothing is said."""
    said = watched(talk(-50.0, 40.0), scene(rate_hz=RATE, kind=Kind.AMBIENCE))
    assert set(said.states) == {State.UNKNOWN}


def test_lost_audio_and_gaps_count_for_nothing() -> None:
    """Lost frames are unknown, and digital zero does not pull the floor down."""
    where = scene(rate_hz=RATE)
    x = talk(-30.0, 40.0, -55.0)
    x[10 * RATE : 25 * RATE] = 0.0
    gap = (30 * RATE, 31 * RATE)
    said = told(Low(where), x, where, missing=lost(len(x), gap))
    assert State.UNKNOWN in said.states
    assert State.ACTIVE not in said.states


def test_a_safety_is_fainter_than_another_performers_main() -> None:
    """Its gain lies 10 dB and more under a main's, so a main that hears more of the voice, but
    less over its own floor, is no sign of spill (common practice, no source)."""
    where = Scene(
        (
            Track(1, who="rigger", level=PackLevel.SAFETY),
            Track(2, who="foreman", level=PackLevel.MAIN),
        ),
        RATE,
    )
    voice = words(-65.0, 45.0, RATE, ON, OFF)
    x = np.concatenate([voice, voice * np.float32(10 ** (15 / 20))], axis=1)
    x += noise(-100.0, 45.0, RATE, seed=2, tracks=2) * np.float32([1.0, 10 ** (35 / 20)])
    assert State.ACTIVE in watched(x.astype(np.float32), where).states


def spoken(low_by_db: float, rigger_s: tuple[float, float]) -> tuple[Samples, Scene]:
    """Two who talk in one room, 14 dB louder into their own packs; the foreman for the first 8 s,
    then the rigger between those seconds, into a pack whose gain is too low by so much."""
    where = Scene((Track(1, who="rigger"), Track(2, who="foreman")), RATE)
    seconds = 60.0
    at_s = np.arange(round(seconds * RATE))[:, None] / RATE
    rigger = words(-25.0, seconds, RATE, ON, OFF) * (
        np.abs(at_s - np.mean(rigger_s)) < (rigger_s[1] - rigger_s[0]) / 2
    )
    foreman = words(-25.0, seconds, RATE, ON, OFF, seed=8) * ((at_s > 1.0) & (at_s < 8.0))
    spill = np.float32(10 ** (-14 / 20))
    x = np.hstack([rigger + spill * foreman, foreman + spill * rigger])
    x += noise(-60.0, seconds, RATE, seed=2, tracks=2)
    return (x * np.float32([10 ** (-low_by_db / 20), 1.0])).astype(np.float32), where


def test_a_pack_so_low_that_others_hear_its_wearer_better() -> None:
    """28 dB too low: the foreman's pack hears the rigger 14 dB louder than the rigger's own does,
    but 14 dB under the foreman, and by less over the place."""
    x, where = spoken(28.0, (10.0, 55.0))
    assert State.ACTIVE in watched(x, where).states


def test_a_pack_so_low_whose_wearer_says_nothing() -> None:
    """The foreman's voice there is none of the rigger's, in however quiet a corner it is heard."""
    x, where = spoken(28.0, (10.0, 10.5))
    loud = words(-25.0, 50.0, RATE, ON, OFF, seed=8)
    noisy = loud + noise(-42.0, 50.0, RATE, seed=3)  # the foreman works beside a fan
    corner = 10 ** (-18 / 20) * loud + noise(-70.0, 50.0, RATE, seed=4)
    x[10 * RATE :, :] = np.hstack([10 ** (-28 / 20) * corner, noisy])
    assert State.ACTIVE not in watched(x, where).states
