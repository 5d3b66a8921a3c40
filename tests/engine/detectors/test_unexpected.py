"""Unexpected: a signal above -50 dBFS on an input called unused (CONTRACT.md).

Level by AES17. That anything louder than this on a spare input is worth a look: common practice, no
source.
"""

from __future__ import annotations

import numpy as np
import pytest

from engine.detectors.unexpected import Unexpected
from engine.model.messages import Kind, Samples, State
from engine.model.tracks import Scene, Track
from tests.support.detector_tracks import spliced, words
from tests.support.signals import noise, scene, sine
from tests.support.watching import Told, lost, told

RATE = 8_000


def quiet(seconds: float) -> Samples:
    """An input with nothing in it."""
    return noise(-95.0, seconds, RATE)


def unused() -> Scene:
    """One unused input."""
    return scene(rate_hz=RATE, kind=Kind.UNUSED)


def watched(x: Samples, missing: np.ndarray | None = None) -> Told:
    """What is told of that sound on an unused input."""
    where = unused()
    return told(Unexpected(where), x, where, missing=missing)


def test_told_from_its_onset_and_never_red() -> None:
    """A signal is told from where it began, and ends where it ended."""
    said = watched(spliced([quiet(4.03), noise(-46.0, 8.0, RATE), quiet(12.0)]))
    ((onset_s, last_s),) = said.spans_s
    assert onset_s == pytest.approx(4.03, abs=0.02)
    assert last_s == pytest.approx(12.03, abs=0.02)
    assert not said.may_be_red
    assert said.states[-1] is State.CLEAR


def test_below_the_limit_is_nothing() -> None:
    """A signal of -54 dBFS is under the limit."""
    assert State.ACTIVE not in watched(noise(-54.0, 8.0, RATE)).states


def test_speech_with_pauses_is_one_signal() -> None:
    """Sentences with four seconds between them are one fault, seen without a break."""
    sentence = spliced([words(-30.0, 3.0, RATE), quiet(4.0)])
    said = watched(spliced([quiet(2.0), *[sentence] * 3]))
    assert len(said.spans_s) == 1
    assert State.CLEAR not in said.states[30:]


def test_a_line_up_tone_on_all_inputs_is_told_as_that_alone() -> None:
    """Three mics and an unused input carry one tone, words over it on one; a voice on the unused
    input is told, though the tone stands on the mics, and so is a tone on it alone."""
    mics = [Track(input=n, kind=Kind.LAV) for n in (1, 2, 3)]
    where = Scene((*mics, Track(input=4, kind=Kind.UNUSED)), sample_rate_hz=RATE)
    mic, line, voice = noise(-60.0, 8.0, RATE), sine(-18.0, 8.0, RATE), words(-30.0, 8.0, RATE)
    for inputs, is_told in (
        ((line, line, line + voice, line), False),
        ((line, line, line, voice), True),
        ((mic, mic, mic, line), True),
    ):
        said = told(Unexpected(where), np.concatenate(inputs, axis=1), where, 3)
        assert (State.ACTIVE in said.states) is is_told


def test_a_knock_is_no_signal() -> None:
    """A knock of 50 ms on the connector is not told."""
    said = watched(spliced([quiet(2.0), noise(-10.0, 0.05, RATE), quiet(15.0)]))
    assert State.ACTIVE not in said.states


def test_a_track_in_use_is_not_looked_at() -> None:
    """On any other kind nothing is said."""
    where = scene(rate_hz=RATE)
    said = told(Unexpected(where), noise(-20.0, 8.0, RATE), where)
    assert set(said.states) == {State.UNKNOWN}


def test_lost_audio_says_nothing() -> None:
    """Lost frames are no signal and no pause."""
    x = spliced([quiet(2.0), noise(-30.0, 6.0, RATE)])
    said = watched(x, lost(len(x), (4 * RATE, 5 * RATE)))
    assert State.UNKNOWN in said.states
    assert len(said.spans_s) == 1
