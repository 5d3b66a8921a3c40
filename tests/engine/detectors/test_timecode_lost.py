"""No valid frame: from the end of the last one on, on timecode tracks alone.

Frames: SMPTE ST 12-1, made by our encoder, which libltc reads.
"""

from __future__ import annotations

import numpy as np

from engine.detectors.timecode_lost import TimecodeLost
from engine.model.messages import Kind, Samples, State
from engine.model.tracks import BY_TIMECODE, Scene, Track
from tests.support.signals import noise
from tests.support.timecode_signals import code
from tests.support.watching import measurements, told

RATE = 48_000
TRACKS = (Track(1, kind=Kind.TIMECODE), Track(2))
SCENE = Scene(TRACKS, RATE)


def sound(code_s: float, seconds: float) -> Samples:
    """Code for so long, then nothing, beside room noise."""
    x = noise(-50.0, seconds, RATE, tracks=2)
    x[:, 0] = 0.0
    if code_s:
        line = code("25", "10:00:00:00", round(code_s * 25), RATE)
        x[: len(line), 0] = line
    return x


def test_active_from_the_last_valid_frame() -> None:
    """The onset is where the last valid frame ended, not where its loss was noticed."""
    said = told(TimecodeLost(SCENE), sound(2.0, 4.0), SCENE)
    ((onset_s, last_s),) = said.spans_s
    assert abs(onset_s - 1.96) < 0.001, "the last frame before silence has no edge at its end"
    assert last_s == 4.0
    assert said.may_be_red


def test_only_timecode_tracks_are_looked_at() -> None:
    """Of all other tracks nothing is said."""
    said = told(TimecodeLost(SCENE), sound(1.0, 2.0), SCENE, place=1)
    assert set(said.states) == {State.UNKNOWN}


def test_lost_audio_is_not_lost_code() -> None:
    """Of ticks that were lost as a whole nothing is known."""
    x = sound(2.0, 2.0)
    missing = np.zeros(len(x), dtype=np.bool_)
    missing[RATE:] = True
    x[RATE:] = 0.0
    detector = TimecodeLost(SCENE)
    states = [int(detector.update(m, feed).state[0]) for m, feed in measurements(x, SCENE, missing)]
    assert states[4:10] == [State.CLEAR] * 6
    assert set(states[10:]) == {State.UNKNOWN}


def test_record_run_code_that_is_gone_is_somebody_elses_fault() -> None:
    """Where code tells when it rolls, only code that never came is lost."""
    scene = Scene(TRACKS, RATE, rolling=BY_TIMECODE)
    assert told(TimecodeLost(scene), sound(2.0, 4.0), scene).spans_s == []
    assert told(TimecodeLost(scene), sound(0.0, 2.0), scene).spans_s == [(0.0, 2.0)]
