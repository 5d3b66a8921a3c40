"""Dead mic: a fall below all that was live, into steady noise.

Times and levels as CONTRACT.md has them; the model of place and electronics is common
practice, no source.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from engine.detectors.dead_mic import DeadMic
from engine.model.messages import Kind, PackLevel, Samples, State
from engine.model.tracks import Scene, Track
from tests.support.detector_tracks import place, spliced, words
from tests.support.signals import noise, scene
from tests.support.watching import lost, measurements, told

RATE = 8_000
WITHIN_S = 0.5
AT_S = 20.03


def dies(electronics_dbfs: float, live_dbfs: float = -55.0, for_s: float = 12.0) -> Samples:
    """A live place that dies at `AT_S` and comes back."""
    electronics = noise(electronics_dbfs, for_s, RATE, seed=3)
    return spliced([place(live_dbfs, AT_S, RATE), electronics, place(live_dbfs, 5.0, RATE, seed=5)])


def test_told_from_where_the_place_fell_to_where_it_returns() -> None:
    """One fault with the onset and the end of the noise, told before its amber is due."""
    where = scene(rate_hz=RATE)
    said = told(DeadMic(where), dies(-85.0), where)
    ((onset_s, last_s),) = said.spans_s
    assert onset_s == pytest.approx(AT_S, abs=WITHIN_S)
    assert last_s == pytest.approx(AT_S + 12.0, abs=WITHIN_S)
    assert said.states.index(State.ACTIVE) * 0.1 <= AT_S + 5.0
    assert said.may_be_red


@settings(deadline=None, max_examples=12)
@given(lasts_s=st.floats(7.0, 7.1), lower_db=st.floats(0.0, 8.0), seed=st.integers(0, 999))
@example(lasts_s=7.0234375, lower_db=0.0, seed=744)
def test_its_end_is_told_to_two_hops(lasts_s: float, lower_db: float, seed: int) -> None:
    """Also where the place comes back quieter than it ever was, as by another gain or cloth."""
    where = scene(rate_hz=RATE)
    x = spliced(
        [
            place(-55.0, 12.0, RATE, seed),
            noise(-85.0, lasts_s, RATE, seed),
            place(-55.0 - lower_db, 4.0, RATE, seed + 1),
        ]
    )
    ((_, last_s),) = told(DeadMic(where), x, where).spans_s
    assert last_s == pytest.approx(12.0 + lasts_s, abs=0.02)


def test_its_level_is_that_of_the_noise() -> None:
    """Also while the place is heard again, until the fault is over; the place lies 30 dB higher."""
    where = scene(rate_hz=RATE)
    detector = DeadMic(where)
    seen = set()
    for m, feed in measurements(dies(-85.0), where):
        if detector.update(m, feed).state[0] == State.ACTIVE:
            seen.add(detector.detail(0))
    assert seen == {"only steady noise at −85 dBFS, below all that was heard before"}


@settings(deadline=None, max_examples=8)
@given(under=st.floats(12.0, 40.0), seed=st.integers(0, 99))
def test_any_fall_into_steady_noise_is_told(under: float, seed: int) -> None:
    """However far the noise lies under the place, the fall is told once."""
    where = scene(rate_hz=RATE, level=PackLevel.SAFETY)
    x = spliced(
        [place(-62.0, 12.0, RATE, seed), noise(max(-62.0 - under, -104.0), 7.0, RATE, seed)]
    )
    ((onset_s, _),) = told(DeadMic(where), x, where).spans_s
    assert onset_s == pytest.approx(12.0, abs=WITHIN_S)


def test_a_dead_safety_a_few_db_under_its_floor() -> None:
    """Electronics only 6 dB under a safety's live floor is told: the low end gives it away."""
    rate = 48_000
    where = scene(rate_hz=rate, level=PackLevel.SAFETY)
    x = spliced([place(-80.0, 12.0, rate), noise(-86.0, 6.0, rate)])
    ((onset_s, _),) = told(DeadMic(where), x, where).spans_s
    assert onset_s == pytest.approx(12.0, abs=WITHIN_S)


@pytest.mark.parametrize("dbfs", [-85.0, -55.0])
def test_steadiness_alone_proves_nothing(dbfs: float) -> None:
    """Steady noise from the start, electronics or air handling, is never told."""
    where = scene(rate_hz=RATE)
    assert State.ACTIVE not in told(DeadMic(where), noise(dbfs, 30.0, RATE), where).states


def test_a_live_place_that_falls_is_alive() -> None:
    """A place that is 20 dB quieter at once but still sways is no dead mic."""
    where = scene(rate_hz=RATE)
    x = spliced([place(-50.0, 15.0, RATE), place(-70.0, 20.0, RATE, seed=2)])
    assert State.ACTIVE not in told(DeadMic(where), x, where).states


def test_what_is_as_loud_as_a_loud_place_is_one() -> None:
    """A car that waits at a light: what is left of it is steady, and no electronics at -40 dBFS."""
    where = scene(rate_hz=RATE)
    assert not told(DeadMic(where), dies(-40.0, live_dbfs=-20.0), where).spans_s


def test_a_slow_drift_is_alive() -> None:
    """Wind that drops by 15 dB within half a minute leaves no dead mic, steady as it ends."""
    where = scene(rate_hz=RATE)
    x = place(-50.0, 60.0, RATE, sway_db=0.5)
    drop_db = np.interp(np.arange(len(x)) / RATE, (15.0, 45.0), (0.0, -15.0))
    x = np.asarray(x * 10 ** (drop_db / 20)[:, None], dtype=np.float32)
    assert State.ACTIVE not in told(DeadMic(where), x, where).states


def test_noise_over_the_floor_is_no_fall() -> None:
    """Steady noise as loud as the place was, or louder, is told by nobody here."""
    where = scene(rate_hz=RATE)
    x = spliced([place(-55.0, 15.0, RATE), noise(-45.0, 10.0, RATE)])
    assert State.ACTIVE not in told(DeadMic(where), x, where).states


def test_quiet_in_between_is_no_fault() -> None:
    """Three seconds of steady noise are over before they mean anything."""
    where = scene(rate_hz=RATE)
    assert State.ACTIVE not in told(DeadMic(where), dies(-85.0, for_s=3.0), where).states


@pytest.mark.parametrize(("heard_s", "alive"), [(20.0, True), (1.0, False)])
def test_another_pack_on_the_input_is_alive(heard_s: float, alive: bool) -> None:
    """Its place is steady and 8 dB lower; words were heard over it since it came, or only with the
    last breath of a mic that dies."""
    where = scene(rate_hz=RATE)
    x = spliced([place(-50.0, 15.0, RATE), noise(-66.0, heard_s + 9.0, RATE, seed=4)])
    first = 15 * RATE
    spoken = words(-30.0, heard_s, RATE, 0.5, 0.4)
    x[first : first + len(spoken)] += spoken
    assert (State.ACTIVE not in told(DeadMic(where), x, where).states) is alive


def test_a_word_over_it_does_not_split_it() -> None:
    """A second of speech on a dead track leaves one fault."""
    where = scene(rate_hz=RATE)
    x = dies(-85.0)
    first = round((AT_S + 7.0) * RATE)
    x[first : first + RATE] += words(-40.0, 1.0, RATE)
    assert len(told(DeadMic(where), x, where).spans_s) == 1


@pytest.mark.parametrize(("voice_dbfs", "until_s"), [(-40.0, 9.0), (-75.0, 20.0)])
def test_who_is_heard_as_loud_as_the_place_was_has_a_mic(voice_dbfs: float, until_s: float) -> None:
    """Under a harness the pauses sink into its own noise, but not the words; a plug half out lets
    them by 40 dB down."""
    where = scene(rate_hz=RATE)
    x = dies(-85.0, for_s=20.0)
    first, end = round((AT_S + 8.0) * RATE), round((AT_S + 20.0) * RATE)
    x[first:end] += words(voice_dbfs, 12.0, RATE)[: end - first]
    ((_, last_s),) = told(DeadMic(where), x, where).spans_s
    assert last_s == pytest.approx(AT_S + until_s, abs=1.0)


def test_a_place_that_was_low_before_is_not_the_onset() -> None:
    """A night that fell still three seconds before the mic died is no part of the fault."""
    where = scene(rate_hz=RATE)
    still = place(-64.0, 3.0, RATE, seed=2)
    x = spliced([place(-55.0, 20.0, RATE), still, noise(-85.0, 12.0, RATE, seed=3)])
    ((onset_s, _),) = told(DeadMic(where), x, where).spans_s
    assert onset_s == pytest.approx(23.0, abs=WITHIN_S)


def test_a_pop_and_a_sagging_bias_do_not_hide_it() -> None:
    """A plug that pops, and a voice that fades for 0.4 s, are told with the onset of the fault."""
    where = scene(rate_hz=RATE)
    first = round(AT_S * RATE)
    pop = dies(-85.0)
    pop[first : first + 400] += 0.5 * np.exp(-np.arange(400) / 32)[:, None].astype(np.float32)
    sag = dies(-85.0)
    fading = 10 ** (-60.0 * np.arange(3200) / 3200 / 20)
    sag[first : first + 3200] += noise(-40.0, 0.4, RATE) * fading[:, None].astype(np.float32)
    for x in (pop, sag):
        ((onset_s, _),) = told(DeadMic(where), x, where).spans_s
        assert onset_s == pytest.approx(AT_S, abs=WITHIN_S)


def test_lost_audio_says_nothing() -> None:
    """While frames are lost nothing is known, and the fault after it is the same one."""
    where = scene(rate_hz=RATE)
    x = dies(-85.0)
    gap = (round((AT_S + 6.0) * RATE), round((AT_S + 7.0) * RATE))
    x[slice(*gap)] = 0.0
    said = told(DeadMic(where), x, where, missing=lost(len(x), gap))
    assert State.UNKNOWN in said.states
    assert len(said.spans_s) == 1


def test_learned_levels_survive_a_restart() -> None:
    """A watch that begins with what another learned tells a mic that dies in its first seconds."""
    where = scene(rate_hz=RATE)
    before = DeadMic(where)
    told(before, place(-55.0, 20.0, RATE), where)
    after = DeadMic(where)
    after.learn(before.learned)
    x = spliced([place(-55.0, 2.0, RATE, seed=4), noise(-85.0, 8.0, RATE)])
    ((onset_s, _),) = told(after, x, where).spans_s
    assert onset_s == pytest.approx(2.0, abs=WITHIN_S)


def test_digital_zero_is_not_dead() -> None:
    """A track that falls to digital zero is another fault."""
    where = scene(rate_hz=RATE)
    x = dies(-85.0)
    x[round(AT_S * RATE) : round((AT_S + 12.0) * RATE)] = 0.0
    assert State.ACTIVE not in told(DeadMic(where), x, where).states


def test_a_stuck_buffer_is_no_dead_mic() -> None:
    """85 ms of a mic's own noise, played again and again: steady, and `stuck` tells it."""
    x = place(-55.0, 40.0, RATE)
    first = 20 * RATE
    x[first:, 0] = np.resize(noise(-80.0, 0.085, RATE)[:, 0], len(x) - first)
    where = scene(rate_hz=RATE)
    assert told(DeadMic(where), x, where).spans_s == []


def test_a_place_that_goes_quiet_everywhere() -> None:
    """Where all tracks fall into the steady air handling that they share, none is dead."""
    where = Scene(tuple(Track(n, kind=Kind.BOOM) for n in (1, 2, 3)), RATE)
    air = place(-75.0, 15.0, RATE, seed=9, sway_db=0.6)
    tracks = [spliced([place(-55.0, 15.0, RATE, seed=n), air]) for n in range(3)]
    x = np.concatenate(tracks, axis=1)
    detector = DeadMic(where)
    for m, feed in measurements(x, where):
        assert not (detector.update(m, feed).state == State.ACTIVE).any()


def test_neighbours_that_fell_with_it_and_speak_again() -> None:
    """That the place went quiet is not forgotten where the other two are talked into again."""
    where = Scene(tuple(Track(n, kind=Kind.BOOM) for n in (1, 2, 3)), RATE)
    sway_db = 0.45 * np.sin(2.0 * np.pi * np.arange(15 * RATE) / (1.7 * RATE))
    air = noise(-75.0, 15.0, RATE, seed=9) * 10 ** (sway_db[:, None] / 20)
    x = np.hstack([spliced([place(-55.0, 15.0, RATE, seed=n), air]) for n in range(3)])
    x[17 * RATE :, 1:] += noise(-30.0, 13.0, RATE, seed=4)[: len(x) - 17 * RATE]
    detector = DeadMic(where)
    for m, feed in measurements(x, where):
        assert not (detector.update(m, feed).state == State.ACTIVE).any()


@pytest.mark.parametrize("dies_later", [False, True])
def test_whoever_speaks_while_a_source_stops_shows_it_later(dies_later: bool) -> None:
    """A generator runs on four mics until 30 s; one wearer talks until 50 s, then shows how quiet
    the place has become, with air handling as steady as electronics. That mic is alive, and if it
    dies at 70 s, 20 dB under the place, it is told."""
    seconds = 90.0
    generator = noise(-38.0, 30.0, RATE, seed=1, tracks=4)
    x = noise(-68.0, seconds, RATE, seed=2, tracks=4)
    x += 10.0 ** (-66.0 / 20.0) * place(0.0, seconds, RATE, seed=3) * [[0.0, 1.0, 1.0, 1.0]]
    x[: len(generator)] += generator
    talk = words(-25.0, 26.0, RATE, 0.7, 0.3)
    x[24 * RATE : 24 * RATE + len(talk), 0] += talk[:, 0]
    if dies_later:
        x[70 * RATE :, 0] = noise(-88.0, 20.0, RATE, seed=4)[:, 0]
    where = scene(4, rate_hz=RATE)
    spans_s = told(DeadMic(where), x.astype(np.float32), where).spans_s
    assert [round(onset_s) for onset_s, _ in spans_s] == [70] * dies_later


def swaying(dbfs: float, seconds: float, by_db: float, seed: int = 3) -> Samples:
    """White noise whose level moves evenly up and down by so much, once in 1.7 s."""
    turns = np.arange(round(seconds * RATE)) / (1.7 * RATE)
    gain_db = by_db / 2.0 * np.sin(2.0 * np.pi * turns)
    return np.asarray(noise(dbfs, seconds, RATE, seed) * 10 ** (gain_db / 20)[:, None], np.float32)


@pytest.mark.parametrize(("by_db", "dead"), [(0.8, True), (1.7, False)])
def test_what_is_left_sways_by_less_than_a_place(by_db: float, dead: bool) -> None:
    """Electronics drift by a fraction of a decibel, where no neighbour tells of a quieter place."""
    where = scene(rate_hz=RATE)
    x = spliced([place(-55.0, AT_S, RATE), swaying(-85.0, 9.0, by_db)])
    assert (State.ACTIVE in told(DeadMic(where), x, where).states) is dead


@pytest.mark.parametrize(("others_fall", "dead"), [(0, True), (1, False), (2, False)])
def test_half_of_the_others_make_it_the_place(others_fall: int, dead: bool) -> None:
    """A mic that falls alone is dead; where another of three falls with it, the place is quiet."""
    where = Scene(tuple(Track(n, kind=Kind.BOOM) for n in (1, 2, 3)), RATE)
    x = np.hstack([place(-55.0, AT_S + 9.0, RATE, seed=n, sway_db=0.3) for n in (1, 2, 3)])
    first = round(AT_S * RATE)
    for column in range(1 + others_fall):
        x[first:, column] = swaying(-85.0, 9.1, 0.9)[: len(x) - first, 0]
    assert (State.ACTIVE in told(DeadMic(where), x, where).states) is dead


MONOLOGUE_DB = [-22, -37, -41, -22, -34, -22, -31, -42, -54, -44, -42, -50, -49, -26, -28, -29]
"""Levels of half seconds of somebody who reads aloud and breathes, measured."""


def test_the_first_pause_of_who_talked_all_the_time_is_no_fall() -> None:
    """In a workshop whose ventilation is as steady as electronics."""
    where = scene(rate_hz=RATE)
    x = noise(-62.0, 24.0, RATE, seed=3)
    loud_db = np.array([*MONOLOGUE_DB, *MONOLOGUE_DB[:8]])
    talk = words(0.0, 12.0, RATE, on_s=0.5, off_s=0.0)
    x[: 12 * RATE] += talk * np.repeat(10 ** (loud_db / 20), RATE // 2)[:, None]
    assert not told(DeadMic(where), x, where).spans_s


def test_who_hardly_paused_loses_a_mic_as_others_do() -> None:
    """Each half second that is softer than those before is so once, and none shows the place; but
    the moments between the words do, 20 dB over the noise that is left."""
    where = scene(rate_hz=RATE)
    x = place(-60.0, 30.0, RATE, 3)
    count = np.arange(60)
    loud_db = np.where(count % 6 < 2, -20.0 - 4.0 * (count // 6), -18.0)
    x += words(0.0, 30.0, RATE, on_s=0.4, off_s=0.1) * np.repeat(10 ** (loud_db / 20), RATE // 2)[
        :, None
    ].astype(np.float32)
    x[20 * RATE :] = noise(-82.0, 10.0, RATE, seed=9)
    said = told(DeadMic(where), x, where)
    assert 20.0 < 0.1 * said.states.index(State.ACTIVE) <= 26.0


def test_a_fall_before_a_floor_was_learned_means_nothing() -> None:
    """In the first 10 s of a watch nothing is known of the place (CONTRACT.md)."""
    where = scene(rate_hz=RATE)
    x = spliced([place(-55.0, 7.0, RATE), noise(-85.0, 12.0, RATE, seed=3)])
    assert State.ACTIVE not in told(DeadMic(where), x, where).states


@pytest.mark.parametrize("sags_s", [0.6, 1.2, 1.6])
def test_what_dies_slowly_is_told(sags_s: float) -> None:
    """A crowd at -38 dBFS whose mic loses its supply: the sound falls by a factor of e in so many
    seconds, 30 dB down into the preamplifier's noise."""
    where = scene(rate_hz=RATE)
    x = place(-38.0, 50.0, RATE, 7)
    falls_s = np.maximum(np.arange(len(x)) / RATE - 25.0, 0.0)
    x *= np.exp(-falls_s / sags_s)[:, np.newaxis].astype(np.float32)
    x[25 * RATE :] += noise(-70.0, 25.0, RATE, seed=9)
    said = told(DeadMic(where), x, where)
    assert len(said.spans_s) == 1
    assert 0.1 * said.states.index(State.ACTIVE) <= 25.0 + 12.0
