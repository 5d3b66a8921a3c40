"""Tone: howl and line-up tone. Deadline as in CONTRACT.md; a sine's level by AES17.

Line-up tone: a sine of 1 kHz (EBU R 68 names it for alignment).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import iirpeak, lfilter

from engine.detectors.tone import Tone
from engine.model.messages import Samples
from tests.support.signals import noise, scene, sine
from tests.support.watching import told

RATE = 48_000
THREE = scene(3, RATE)


def place(seconds: float = 20.0) -> Samples:
    """Three tracks of room noise."""
    return noise(-56.0, seconds, RATE, seed=2, tracks=3)


@pytest.mark.parametrize("hz", [310.0, 1000.0, 2477.7, 6200.0])
@pytest.mark.parametrize("level_dbfs", [-36.0, -10.0])
def test_a_howl_is_told_before_its_deadline(hz: float, level_dbfs: float) -> None:
    """On one mic, from its begin to its end, with its frequency and level."""
    x = place()
    at = slice(round(6.2 * RATE), round(14.0 * RATE))
    x[at, 1] += sine(level_dbfs, 7.8, RATE, hz)[:, 0]
    detector = Tone(THREE)
    said = told(detector, x, THREE, 1)
    ((onset_s, last_s),) = said.spans_s
    assert onset_s == pytest.approx(6.2, abs=0.3)
    assert last_s == pytest.approx(14.0, abs=0.6)
    assert 0.1 * (said.states.index(1) + 1) <= 6.2 + 5.0


@pytest.mark.parametrize("at_s", [4.0, 5.57, 6.34])
def test_its_begin_is_told_to_two_ticks(at_s: float) -> None:
    """However the looks at the spectrum lie to it, and over a voice's worth of other sound."""
    x = place(14.0)
    x[:, 0] += noise(-38.0, 14.0, RATE, seed=7)[:, 0]
    x[round(at_s * RATE) :, 0] += sine(-20.0, 14.0, RATE, 1234.0)[: len(x) - round(at_s * RATE), 0]
    ((onset_s, _),) = told(Tone(THREE), x, THREE, 0).spans_s
    assert onset_s == pytest.approx(at_s, abs=0.2)


@pytest.mark.parametrize("at_s", [4.0, 4.21, 4.37])
def test_a_howl_that_grows_is_dated_from_where_it_left_the_place(at_s: float) -> None:
    """By 20 dB a second, as the gain of a loop above one makes it, from the level of the place."""
    x = place(14.0)
    t = np.arange(len(x) - round(at_s * RATE)) / RATE
    growth = 10 ** (np.minimum(-56.0 + 20.0 * t, -14.0) / 20.0)
    x[-len(t) :, 0] += (growth * np.sin(2.0 * np.pi * 2015.0 * t)).astype(np.float32)
    ((onset_s, _),) = told(Tone(THREE), x, THREE, 0).spans_s
    assert onset_s == pytest.approx(at_s, abs=0.12)


def test_a_line_up_tone_is_named() -> None:
    """The same sine on all inputs from the start is a line-up tone."""
    x = place(6.0)
    x += sine(-20.0, 6.0, RATE, 1000.0)
    detector = Tone(THREE)
    assert told(detector, x, THREE, 0).spans_s
    assert detector.detail(0) == "line-up tone on all 3 inputs: 1000 Hz, \u221220 dBFS"


def test_a_howl_on_several_mics_is_told_once() -> None:
    """Two of four hear it, the nearer one 12 dB louder and under a voice's worth of other sound for
    a while; one alarm says so as long as either has it."""
    four = scene(4, RATE)
    x = noise(-56.0, 14.0, RATE, seed=2, tracks=4)
    at = slice(3 * RATE, 12 * RATE)
    x[at, 2] += sine(-20.0, 9.0, RATE, 1234.0)[:, 0]
    x[at, 1] += sine(-32.0, 9.0, RATE, 1234.0)[:, 0]
    x[7 * RATE : 10 * RATE, 2] += noise(-6.0, 3.0, RATE, seed=5)[:, 0]
    detector = Tone(four)
    spans_s = [told(Tone(four), x, four, track).spans_s for track in range(4)]
    assert [len(spans) for spans in spans_s] == [0, 0, 1, 0]
    assert spans_s[2][0] == pytest.approx((3.0, 12.0), abs=0.6)
    told(detector, x[: 7 * RATE], four, 2)
    assert detector.detail(2) == "howl on 2 inputs: 1234 Hz, \u221220 dBFS"


def test_mains_are_left_to_hum() -> None:
    """Lines at 50 and 100 Hz say nothing."""
    x = place()
    x[:, 0] += sine(-30.0, 20.0, RATE, 50.0)[:, 0]
    x[:, 1] += sine(-30.0, 20.0, RATE, 100.0)[:, 0]
    assert not any(told(Tone(THREE), x, THREE, track).spans_s for track in range(2))


def test_a_stuck_buffer_is_no_tone() -> None:
    """21 ms of a vowel (noise that resonates at 620 Hz), played again and again for 8 s, have a
    line that stands; `stuck` tells it."""
    x = place()
    x[:, 1] += lfilter(*iirpeak(620.0, 30.0, fs=RATE), noise(-8.0, 20.0, RATE, seed=5)[:, 0])
    first, frames = 6 * RATE, round(0.021 * RATE)
    x[first : first + 8 * RATE] = np.resize(x[first - frames : first], (8 * RATE, x.shape[1]))
    assert not told(Tone(THREE), x, THREE, 1).spans_s


def test_a_word_over_it_does_not_move_its_begin() -> None:
    """Loud sound that covers a howl for 0.7 s, before it was told, leaves its begin alone."""
    x = place(12.0)
    x[round(4.0 * RATE) :, 0] += sine(-20.0, 8.0, RATE, 1234.0)[:, 0]
    covered = slice(round(5.3 * RATE), round(6.0 * RATE))
    x[covered, 0] += noise(-3.0, 0.7, RATE, seed=9)[: covered.stop - covered.start, 0]
    ((onset_s, _),) = told(Tone(THREE), x, THREE, 0).spans_s
    assert onset_s == pytest.approx(4.0, abs=0.2)


def test_words_over_a_line_up_tone_leave_it_on_all() -> None:
    """Loud sound covers it for 3 s, on one track after the other and on two at a time: it is told
    on each of four, once."""
    four = scene(4, RATE)
    x = noise(-56.0, 20.0, RATE, seed=2, tracks=4)
    x[2 * RATE : 18 * RATE] += sine(-20.0, 16.0, RATE, 1000.0)
    for n, track in enumerate((0, 1, 2, 3, 0)):
        at = slice(round((6.0 + 2.2 * n) * RATE), round((9.0 + 2.2 * n) * RATE))
        x[at, track] += noise(-6.0, 3.0, RATE, seed=n)[: at.stop - at.start, 0]
    spans_s = [told(Tone(four), x, four, track).spans_s for track in range(4)]
    assert [len(spans) for spans in spans_s] == [1, 1, 1, 1]
    assert spans_s[0][0] == pytest.approx((2.0, 18.0), abs=0.6)
