"""Dropout: short gaps to below the live floor. Bounds are those of CONTRACT.md.

That a receiver's squelch mutes within milliseconds and opens again as fast, and the lengths of such
gaps, are common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from engine.detectors.base import TickContext
from engine.detectors.dropout import Dropout
from engine.measure.meter import Meter
from engine.model.messages import Kind, Samples, State
from engine.model.tracks import Scene, Track
from tests.support.detector_tracks import place
from tests.support.harmless_sound import at_level, impacts, room, tone
from tests.support.signals import RATES_HZ, noise, scene
from tests.support.watching import Told, lost, told

RATE = 48_000


def with_gaps(
    *gaps: tuple[float, float], to_db: float | None = None, seconds: float = 8.0, rate: int = RATE
) -> Samples:
    """Room at -50 dBFS with gaps (begin s, length s) to zero, or to that much under it."""
    x = noise(-50.0, seconds, rate)
    for begin_s, length_s in gaps:
        span = slice(round(begin_s * rate), round((begin_s + length_s) * rate))
        x[span] *= np.float32(0.0 if to_db is None else 10 ** (to_db / 20))
    return x


def dropout(samples: Samples, where: Scene | None = None) -> Told:
    """What is said of the first track."""
    where = where or scene()
    return told(Dropout(where), samples, where)


def test_a_gap_among_shorter_lulls() -> None:
    """Where the place itself rests for 3 ms at times, as low waves do, a gap of 8 ms is told."""
    x = noise(-50.0, 8.0, RATE)
    lull = np.arange(len(x)) % (RATE // 4) < 0.003 * RATE
    x[lull] *= np.float32(10 ** (-30 / 20))
    assert State.ACTIVE not in dropout(x).states[25:]
    first = round(6.1 * RATE)
    x[first : first + round(0.008 * RATE)] *= np.float32(10 ** (-30 / 20))
    assert State.ACTIVE in dropout(x).states[25:]


@pytest.mark.parametrize(("gaps_s", "is_told"), [([6.3], False), ([8.6], True), ([5.1, 6.3], True)])
def test_what_lay_beside_a_source_that_stopped_is_forgotten(
    gaps_s: list[float], is_told: bool
) -> None:
    """For two seconds after the stop there is no place to be under, but where gaps go on."""
    x = with_gaps(*((at_s, 0.03) for at_s in gaps_s), seconds=10.0)
    meter, detector = Meter(scene()), Dropout(scene())
    states = []
    for first in range(0, len(x), meter.tick_frames):
        m = meter.update(x[first : first + meter.tick_frames])
        m = replace(m, source_stopped=np.array([len(states) == 60]))
        states.append(int(detector.update(m, TickContext(m.end_s)).state[0]))
    assert (State.ACTIVE in states[61:]) is is_told


@pytest.mark.parametrize("loud", ["tone", "noise", "shower"])
def test_what_stops_at_once_leaves_its_place_and_no_gap(loud: str) -> None:
    """A tone, a fan or a shower of 15 s over a place of low frequencies, which dips for some
    milliseconds at all times, stops within a hop; a gap after that is told."""
    x = room(45.0, -62.0, np.random.default_rng(3), 120.0)
    beside = {
        "tone": lambda: tone(15.0),
        "noise": lambda: np.random.default_rng(4).standard_normal(15 * RATE),
        "shower": lambda: impacts(15.0, 400.0, np.random.default_rng(5)),
    }[loud]()
    x[20 * RATE : 35 * RATE] += at_level(beside, -36.0)
    samples = x.astype(np.float32)[:, None]
    assert State.ACTIVE not in dropout(samples).states
    samples[42 * RATE : 42 * RATE + 2400] = 0.0
    assert State.ACTIVE in dropout(samples).states[420:]


def test_a_gain_that_is_turned_down_makes_no_gaps() -> None:
    """The quietest that is known moves along, and gaps are told under the new level."""
    x = noise(-50.0, 14.0, RATE)
    x[6 * RATE :] *= np.float32(10 ** (-10 / 20))
    x[12 * RATE : 12 * RATE + 960] *= np.float32(10 ** (-30 / 20))
    meter, detector = Meter(scene()), Dropout(scene())
    states = []
    for first in range(0, len(x), meter.tick_frames):
        m = meter.update(x[first : first + meter.tick_frames])
        turned = np.array([-10.0 if len(states) == 60 else 0.0])
        m = replace(m, gain_step_db=turned, floor_dbfs=m.floor_dbfs * 0.0 - 50.0 + turned)
        states.append(int(detector.update(m, TickContext(m.end_s)).state[0]))
    assert State.ACTIVE not in states[:119]
    assert State.ACTIVE in states[119:]


@pytest.mark.parametrize("length_s", [0.005, 0.02, 0.1, 0.49])
@pytest.mark.parametrize("to_db", [None, -30.0])
def test_a_gap_is_told_once_it_closed(length_s: float, to_db: float | None) -> None:
    """A gap of 5 to 500 ms is told within a tick or two of its end, with its own begin and end."""
    said = dropout(with_gaps((5.03, length_s), to_db=to_db))
    first = said.states.index(State.ACTIVE)
    assert 5.03 + length_s <= (first + 1) / 10 <= 5.03 + length_s + 0.2
    (onset_s, last_s), *more = said.spans_s
    assert not more
    assert onset_s == pytest.approx(5.03, abs=0.002)
    assert last_s == pytest.approx(5.03 + length_s, abs=0.002)
    assert not said.may_be_red


@pytest.mark.parametrize("edge_s", [0.0005, 0.001, 0.002])
@pytest.mark.parametrize("length_s", [0.02, 0.14])
def test_a_gap_with_soft_edges_is_one(edge_s: float, length_s: float) -> None:
    """A squelch that takes a millisecond to close makes one gap, however deep it is looked for."""
    x = place(-62.0, 8.0, RATE, sway_db=4.0) + noise(-90.0, 8.0, RATE)
    t = np.arange(len(x)) / RATE
    inside = np.minimum(t - 5.03, 5.03 + length_s - t) / edge_s
    x *= (1.0 - np.clip(inside, 0.0, 1.0)).astype(np.float32)[:, None]
    where = scene()
    detector = Dropout(where)
    told(detector, x, where)
    assert detector.detail(0).startswith("1 gap in 10 s")


@pytest.mark.parametrize("white", [False, True])
def test_a_pad_before_a_word_is_no_gap(white: bool) -> None:
    """A pad of 20 dB, switched in 0.2 s before the next word, leaves the place in the pause, with
    all its colour; a link leaves noise that has none, and is back as loud."""
    rng = np.random.default_rng(5)
    seconds, at_s = 14.0, 12.2
    at_s_of = np.arange(round(seconds * RATE)) / RATE
    sound = 30.0 * (at_s_of % 0.8 >= 0.4) + 1.0  # words stand 30 dB over the place
    x = sound * at_level(room(seconds, -50.0, rng, 1000.0), -50.0)
    if white:
        gap = slice(round(at_s * RATE), round((at_s + 0.2) * RATE))
        x[gap] = noise(-66.0, 0.2, RATE)[:, 0]
    else:
        x[round(at_s * RATE) :] *= 0.1
    said = dropout(np.asarray(x[:, np.newaxis], dtype=np.float32)).states
    assert (State.ACTIVE in said[120:]) is white


@pytest.mark.parametrize("rate", RATES_HZ)
def test_any_rate(rate: int) -> None:
    """The sample rate does not matter."""
    where = scene(rate_hz=rate)
    said = told(Dropout(where), with_gaps((4.0, 0.05), seconds=5.0, rate=rate), where)
    assert said.spans_s[0][0] == pytest.approx(4.0, abs=0.002)


def test_a_long_gap_is_no_dropout() -> None:
    """From 500 ms on it is something else."""
    assert State.ACTIVE not in dropout(with_gaps((5.0, 0.52))).states


def test_three_in_ten_seconds_may_be_red() -> None:
    """The third gap within ten seconds deserves red, and all are one burst."""
    said = dropout(with_gaps((4.0, 0.05), (5.0, 0.05), (6.0, 0.05)))
    red = [n / 10 for n, c in enumerate(said.conditions) if c.may_be_red[0]]
    assert red[0] == pytest.approx(6.0, abs=0.11)
    assert [onset for onset, _ in said.spans_s] == pytest.approx([4.0], abs=0.002)


def test_gaps_far_apart_are_two_bursts() -> None:
    """Ten seconds without a gap end a burst."""
    said = dropout(with_gaps((4.0, 0.05), (14.5, 0.05), seconds=16.0))
    assert [onset for onset, _ in said.spans_s] == pytest.approx([4.0, 14.5], abs=0.002)


def test_stop_consonants_leave_the_place_audible() -> None:
    """A loud voice that breaks off to the room for 80 ms is no dropout."""
    x = noise(-50.0, 8.0, RATE)
    voice = noise(-15.0, 8.0, RATE, seed=2)
    for begin_s in np.arange(3.0, 7.5, 0.3):
        voice[round(begin_s * RATE) : round((begin_s + 0.08) * RATE)] = 0.0
    assert State.ACTIVE not in dropout(x + voice).states


def test_a_gap_where_the_place_is_quieter_than_learned() -> None:
    """A crowd that left 6.5 dB behind its learned floor is no silent track: its gaps are told."""
    x = with_gaps((16.0, 0.02), seconds=18.0)
    x[12 * RATE :] *= np.float32(10 ** (-6.5 / 20))
    ((begin_s, end_s),) = dropout(x).spans_s
    assert (begin_s, end_s) == pytest.approx((16.0, 16.02), abs=0.005)


def test_a_silent_track_has_no_dropouts() -> None:
    """What is left of a loud voice on a track 40 dB down breaks off sharply, but to no place."""
    at_s = np.arange(25 * RATE) / RATE
    voice = noise(-20.0, 25.0, RATE, seed=2) * (at_s % 0.5 < 0.43)[:, None]
    x = np.asarray(noise(-50.0, 25.0, RATE) + voice, dtype=np.float32)
    x[15 * RATE :] *= np.float32(10 ** (-40 / 20))
    assert State.ACTIVE not in dropout(x).states


def test_lost_audio_is_no_gap() -> None:
    """Frames that were lost on the way are not the radio's."""
    where, x = scene(), with_gaps((5.0, 0.05))
    missing = lost(len(x), (round(5.0 * RATE), round(5.05 * RATE)))
    assert State.ACTIVE not in told(Dropout(where), x, where, missing=missing).states


@pytest.mark.parametrize("kind", [Kind.COMMS, Kind.TIMECODE, Kind.UNUSED])
def test_kinds_without_dropouts(kind: Kind) -> None:
    """A gated talkback, a timecode and an unused input are not looked at."""
    where = Scene((Track(1, kind=kind),), RATE)
    assert State.ACTIVE not in dropout(with_gaps((5.0, 0.05)), where).states


@pytest.mark.parametrize("edge_s", [0.01, 0.02, 0.04])
@pytest.mark.parametrize("gap_s", [0.1, 0.3])
def test_a_mute_that_ramps_is_a_gap(edge_s: float, gap_s: float) -> None:
    """A digital link that ramps its mute down and up, by a raised cosine, has its gaps told."""
    rate = 48_000
    x = noise(-56.0, 20.0, rate, seed=1)[:, 0] + noise(-28.0, 20.0, rate, seed=2)[:, 0] * np.clip(
        np.sin(2.0 * np.pi * 1.7 * np.arange(20 * rate) / rate), 0.0, None
    )
    edge = 0.5 + 0.5 * np.cos(np.pi * np.arange(round(edge_s * rate)) / round(edge_s * rate))
    for at_s in (12.0, 14.1, 16.4):
        gain = np.zeros(round(gap_s * rate))
        gain[: len(edge)], gain[-len(edge) :] = edge, edge[::-1]
        first = round(at_s * rate)
        x[first : first + len(gain)] *= gain
    one = scene(1, rate)
    said = told(Dropout(one), x[:, None].astype(np.float32), one)
    ((onset_s, last_s),) = [(said.spans_s[0][0], said.spans_s[-1][1])]
    assert onset_s == pytest.approx(12.0, abs=0.05)
    assert last_s == pytest.approx(16.4 + gap_s, abs=0.05)


def test_a_gap_that_a_link_fills_is_a_gap() -> None:
    """Five milliseconds played again and again for 100 ms: concealment, and a dropout."""
    rate = 48_000
    x = noise(-40.0, 12.0, rate, seed=1)
    for at_s in (6.0, 7.3, 8.1):
        first = round(at_s * rate)
        x[first : first + 4800, 0] = np.resize(x[first - 240 : first, 0], 4800)
    one = scene(1, rate)
    said = told(Dropout(one), x, one)
    assert said.spans_s[0][0] == pytest.approx(6.0, abs=0.01)
    assert said.may_be_red


@pytest.mark.parametrize("period_s", [0.3, 1.0])
@pytest.mark.parametrize("lasts_s", [4.18, 4.28])
def test_the_end_of_a_stuck_buffer_is_no_gap_that_was_filled(
    period_s: float, lasts_s: float
) -> None:
    """Its last round is cut short; `stuck` tells all of it."""
    rate = 48_000
    x = noise(-30.0, 9.0, rate)
    first, period = round(2.3 * rate), round(period_s * rate)
    last = first + round(lasts_s * rate)
    x[first:last] = np.resize(x[first - period : first], (last - first, 1))
    one = scene(1, rate)
    assert not told(Dropout(one), x, one).spans_s
