"""Pair drift: the packs leave their learned offset; seconds of speech as in CONTRACT.md.

Offsets of 10 to 15 dB between the packs of one performer, and how far cloth or a slip lowers one of
them: common practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, sosfilt

from engine.detectors.pair_drift import PairDrift
from engine.detectors.pair_offsets import LearnedOffsets
from engine.model.messages import Samples, State
from tests.support import harmless_sound as sound
from tests.support.harmless_sound import Wave, at_level, impacts
from tests.support.pack_pair import PAIR, RATE, heard, packs, slip, voice
from tests.support.signals import noise, sine
from tests.support.watching import told


@pytest.mark.parametrize("place", [0, 1])
@pytest.mark.parametrize("loss_db", [5.0, 8.0, 14.0])
def test_the_pack_that_fell_is_named(place: int, loss_db: float) -> None:
    """A pack that lost its voice by 5 dB is told after ten seconds of speech, never red."""
    x = packs(60.0)
    slip(x, place, loss_db, 30.0)
    said = told(PairDrift(PAIR), x, PAIR, place=place)
    first_s = said.states.index(State.ACTIVE) / 10
    assert 32.0 < first_s < 47.0
    assert said.spans_s[0][0] == pytest.approx(30.0, abs=1.0)
    assert not said.may_be_red
    other = told(PairDrift(PAIR), x, PAIR, place=1 - place)
    assert State.ACTIVE not in other.states


@pytest.mark.parametrize("place", [0, 1])
def test_a_gain_turned_by_hand_is_no_drift(place: int) -> None:
    """Floor and voice fall by 10 dB together; a pack that slips later on is named all the same."""
    x = packs(90.0)
    x[25 * RATE :, place] *= np.float32(10 ** (-10 / 20))
    assert State.ACTIVE not in told(PairDrift(PAIR), x, PAIR, place=place).states
    x = packs(90.0)
    slip(x, place, 8.0, 60.0)
    x[25 * RATE :, place] *= np.float32(10 ** (-10 / 20))
    said = told(PairDrift(PAIR), x, PAIR, place=place)
    assert said.spans_s[0][0] == pytest.approx(60.0, abs=1.0)


@pytest.mark.parametrize("until_s", [24.0, 24.1, 24.2, 24.3])
def test_a_word_long_before_does_not_date_it(until_s: float) -> None:
    """A soft word 1.8 s before the fall fills the same part as the speech after it."""
    sound = voice(60.0)
    sound[round(until_s * RATE) : round(28.2 * RATE)] = 0.0
    sound[round(28.2 * RATE) : 29 * RATE] *= np.float32(0.3)
    sound[round(28.3 * RATE) : 30 * RATE] = 0.0
    x = np.hstack([heard(sound, 0.0), heard(sound, -12.0, seed=6)])
    slip(x, 1, 10.0, 30.0)
    said = told(PairDrift(PAIR), x, PAIR, place=1)
    assert said.spans_s[0][0] == pytest.approx(30.0, abs=0.3)


def test_a_small_change_before_does_not_date_it() -> None:
    """A turn of the head before a pause is not where the pack fell far after it."""
    sound = voice(60.0)
    sound[25 * RATE : 30 * RATE] = 0.0
    x = np.hstack([heard(sound, 0.0), heard(sound, -12.0, seed=6)])
    slip(x, 1, 5.0, 24.0, 25.0)
    slip(x, 1, 16.0, 30.0)
    said = told(PairDrift(PAIR), x, PAIR, place=1)
    assert said.spans_s[0][0] == pytest.approx(30.0, abs=0.5)


def test_muffled_is_told() -> None:
    """A pack under cloth loses its treble while its level hardly changes."""
    x = packs(60.0)
    sos = butter(4, 900.0, fs=RATE, output="sos")
    x[30 * RATE :, 1] = sosfilt(sos, x[30 * RATE :, 1])
    assert State.ACTIVE in told(PairDrift(PAIR), x, PAIR, place=1).states


@pytest.mark.parametrize(
    ("place", "corner_hz", "loss_db", "taught"),
    [(0, 900.0, 3.0, False), (1, 700.0, 0.0, True), (0, 600.0, 0.0, True), (1, 600.0, 3.0, False)],
)
def test_cloth_that_falls_over_a_pack_is_told(
    place: int, corner_hz: float, loss_db: float, taught: bool
) -> None:
    """It takes 12 dB an octave, and most from the sibilants; also where a line check, which does
    not hear them for themselves, taught the pair."""
    waves = _worn(talks=0.9, seconds=60.0)
    sos = butter(2, corner_hz, fs=RATE, output="sos")
    waves[place][30 * RATE :] = sosfilt(sos, waves[place])[30 * RATE :] * 10 ** (-loss_db / 20)
    detector = PairDrift(PAIR)
    if taught:
        detector.teach(1, 12.0, 12.0)
    said = told(detector, sound.takes(waves), PAIR, place=place)
    assert 32.0 < said.states.index(State.ACTIVE) / 10 < 50.0
    assert said.spans_s[0][0] == pytest.approx(30.0, abs=1.5)
    assert "muffled" in detector.detail(place)


def test_louder_on_both_is_no_drift() -> None:
    """A performer who speaks up by 10 dB changes no offset."""
    x = packs(60.0)
    x[30 * RATE :] *= np.float32(10 ** (10 / 20))
    for place in (0, 1):
        assert State.ACTIVE not in told(PairDrift(PAIR), x, PAIR, place=place).states


@pytest.mark.parametrize("place", [0, 1])
def test_bursts_on_one_pack_are_no_drift(place: int) -> None:
    """Hash 20 dB over the voice, 0.4 s of it every 2 s for 12 s: the voice itself is as it was."""
    x = packs(60.0)
    for begin_s in range(30, 42, 2):
        burst = noise(-10.0, 0.4, RATE, seed=begin_s)[:, 0]
        x[begin_s * RATE : begin_s * RATE + len(burst), place] = burst
    for said_of in (0, 1):
        assert State.ACTIVE not in told(PairDrift(PAIR), x, PAIR, place=said_of).states


@pytest.mark.parametrize("place", [0, 1])
@pytest.mark.parametrize("level_dbfs", [-50.0, -30.0, -20.0])
def test_hum_on_one_pack_is_no_drift(place: int, level_dbfs: float) -> None:
    """A steady line is no voice, under it or over it."""
    x = packs(60.0)
    x[30 * RATE : 45 * RATE, place] += sine(level_dbfs, 15.0, RATE, hz=50.0)[:, 0]
    for said_of in (0, 1):
        assert State.ACTIVE not in told(PairDrift(PAIR), x, PAIR, place=said_of).states


def test_a_pack_that_never_heard_the_voice_has_no_offset() -> None:
    """Electronics alone on the main from the start: there is no ratio to leave."""
    x = packs(90.0)
    x[:, 0] = noise(-62.0, 90.0, RATE, seed=8)[:, 0]
    x[50 * RATE :, 1] *= np.float32(10 ** (12 / 20))
    detector = PairDrift(PAIR)
    for place in (0, 1):
        assert State.ACTIVE not in told(detector, x, PAIR, place=place).states
    assert np.isnan(detector.learned.offset_db).all()


def test_a_lost_pack_is_no_drift() -> None:
    """What takes voice and place away alike by 30 dB is a loss, and told as one."""
    x = packs(60.0)
    x[30 * RATE : 50 * RATE, 1] *= np.float32(10 ** (-30 / 20))
    for place in (0, 1):
        assert State.ACTIVE not in told(PairDrift(PAIR), x, PAIR, place=place).states


def test_what_was_learned_can_be_kept() -> None:
    """The offset of an earlier watch is used at once, so a drift over a restart is told."""
    first, second = PairDrift(PAIR), PairDrift(PAIR)
    told(first, packs(25.0), PAIR)
    learned = first.learned
    assert isinstance(learned, LearnedOffsets)
    assert learned.offset_db[0, 1] == pytest.approx(12.0, abs=0.5)
    second.learn(learned)
    x = packs(35.0)
    x[:, 1] *= np.float32(10 ** (-10 / 20))
    assert State.ACTIVE in told(second, x, PAIR, place=1).states


@pytest.mark.parametrize("turned_db", [2.5, 4.0])
def test_a_head_that_turns_is_no_drift(turned_db: float) -> None:
    """The safety hears the voice fainter while the wearer looks to one side, for seconds."""
    sound = voice(80.0)
    x = np.hstack([heard(sound, 0.0), heard(sound, -12.0, seed=6)])
    at_s = np.arange(len(x)) / RATE
    turned = (at_s > 25.0) & (at_s % 7.0 < 3.5)
    x[turned, 1] *= np.float32(10 ** (-turned_db / 20))
    for place in (0, 1):
        assert State.ACTIVE not in told(PairDrift(PAIR), x, PAIR, place=place).states


@pytest.mark.parametrize(("place", "louder_db"), [(0, 0.0), (1, -2.9)])
def test_a_look_to_one_side_of_a_pair_that_is_hardly_known_is_no_drift(
    place: int, louder_db: float
) -> None:
    """After 5 s of speech its wearer looks aside for 20 s: one pack loses 6.5 dB, the other gains
    2.9 dB, or nothing at all where they speak softer meanwhile."""
    said = voice(48.0)
    said[: 9 * RATE] = 0.0
    x = np.hstack([heard(said, 0.0), heard(said, -12.0, 20, seed=6)])
    aside = slice(17 * RATE, 37 * RATE)
    x[aside, place] *= np.float32(10 ** ((louder_db - 6.5) / 20))
    x[aside, 1 - place] *= np.float32(10 ** ((louder_db + 2.9) / 20))
    assert State.ACTIVE not in told(PairDrift(PAIR), x, PAIR, place=place).states


def _sparse(seconds: float) -> Samples:
    """A wearer who says three words of 0.4 s each five seconds."""
    said = voice(seconds)
    at_s = np.arange(len(said)) / RATE
    said[(at_s > 25.0) & (at_s % 5.0 > 1.8)] = 0.0
    return np.hstack([heard(said, 0.0), heard(said, -12.0, 20, seed=6)])


@pytest.mark.parametrize("place", [0, 1])
def test_a_pack_that_slipped_is_told_by_few_words_that_last_longer_than_a_look(place: int) -> None:
    """Ten words in 22 s: nobody looks aside for so long."""
    x = _sparse(62.0)
    slip(x, place, 9.0, 30.0)
    said = told(PairDrift(PAIR), x, PAIR, place=place)
    assert 52.0 < said.states.index(State.ACTIVE) / 10 < 60.0
    assert said.spans_s[0][0] == pytest.approx(30.0, abs=1.5)


def test_rain_on_both_packs_is_no_drift() -> None:
    """Drops that strike each pack for itself are no voice that changed."""
    rng = np.random.default_rng(2)
    x = packs(60.0).astype(np.float64)
    for column, level_dbfs in ((0, -46.0), (1, -58.0)):
        drops = at_level(impacts(60.0, 200.0, rng), level_dbfs)
        drops[: 20 * RATE] = 0.0
        x[:, column] += drops
    samples = x.astype(np.float32)
    for place in (0, 1):
        assert State.ACTIVE not in told(PairDrift(PAIR), samples, PAIR, place=place).states


def _worn(talks: float = 0.6, seconds: float = 75.0, seed: int = 3) -> list[Wave]:
    """What two packs of one performer hear, before any gain: one voice, the place on each."""
    rng = np.random.default_rng(seed)
    said = sound.voice(seconds, -22.0, rng, talks=talks)
    return [gain * (said + sound.room(seconds, -58.0, rng)) for gain in (1.0, 0.25)]


@pytest.mark.parametrize("place", [0, 1])
@pytest.mark.parametrize("gain_db", [-5.5, -4.5, 5.0])
def test_a_small_gain_turned_while_its_wearer_talks_is_no_drift(place: int, gain_db: float) -> None:
    """Voice, treble and pauses of one pack move alike; one that slips later is named."""
    waves = _worn()
    waves[place] = sound.amplified(waves[place], gain_db, 25.0)
    x = sound.takes(waves)
    for said_of in (0, 1):
        assert State.ACTIVE not in told(PairDrift(PAIR), x, PAIR, place=said_of).states
    slip(x, place, 9.0, 50.0)
    said = told(PairDrift(PAIR), x, PAIR, place=place)
    assert said.spans_s[0][0] == pytest.approx(50.0, abs=1.5)


def _limited(x: Wave, ceiling: float = 0.7) -> Wave:
    """A limiter with instant attack that lets go over 0.12 s, as packs have them."""
    size = 48
    peaks = np.abs(x[: len(x) // size * size]).reshape(-1, size).max(axis=1)
    gain, now = np.ones(len(peaks)), 1.0
    for n, peak in enumerate(np.maximum(peaks, 1e-9)):
        now = min(now + (1.0 - now) * size / (0.12 * sound.RATE), ceiling / peak)
        gain[n] = now
    return np.asarray(np.clip(x, -ceiling, ceiling) * np.append(gain, now).repeat(size)[: len(x)])


def test_a_limiter_is_no_drift() -> None:
    """Its wearer shouts into the main's limiter for 40 s and talks after it, as both packs heard
    it; a pack that slips then is named."""
    waves = _worn(seconds=120.0)
    shout = 10 ** ((20.0 - 20.0 * (np.arange(len(waves[0])) > 40 * sound.RATE)) / 20.0)
    x = sound.takes([_limited(wave * shout) for wave in waves])
    for said_of in (0, 1):
        assert State.ACTIVE not in told(PairDrift(PAIR), x, PAIR, place=said_of).states
    slip(x, 1, 10.0, 90.0)
    said = told(PairDrift(PAIR), x, PAIR, place=1)
    assert said.spans_s[0][0] == pytest.approx(90.0, abs=1.5)
