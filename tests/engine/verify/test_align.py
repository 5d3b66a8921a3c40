"""A take is placed on a session by its sound."""

from __future__ import annotations

import numpy as np
import pytest

from engine.verify.align import find
from engine.verify.follow import aligned, follow
from engine.verify.traces import SessionTrace, TakeTrace
from tests.support.verify_signals import SLOW, TRACKS, levels, night, recorded

HOP_S = 0.01
WITHIN_S = 0.02


@pytest.fixture(scope="module")
def sound() -> np.ndarray:
    """Eight minutes of a night."""
    return night(480.0, rate=SLOW)


@pytest.fixture(scope="module")
def session(sound: np.ndarray) -> SessionTrace:
    """Its levels as they are logged, to half a dB."""
    return SessionTrace(
        (np.round(levels(sound, 0.1, SLOW) * 2.0) / 2.0).astype(np.float32),
        tuple(track.input for track in TRACKS),
        0.1,
    )


def take_of(sound: np.ndarray) -> TakeTrace:
    """Its levels by hops."""
    return TakeTrace.of(levels(sound, HOP_S, SLOW), HOP_S)


@pytest.mark.parametrize("begin_s", [0.0, 12.3456, 100.0, 201.789, 311.111])
@pytest.mark.parametrize("seconds", [20.0, 90.0])
def test_a_take_is_placed_within_20_ms(
    sound: np.ndarray, session: SessionTrace, begin_s: float, seconds: float
) -> None:
    """Wherever it begins, however long it is."""
    take = take_of(recorded(sound, begin_s, begin_s + seconds, rate=SLOW))
    position = find(session, take)
    assert position is not None
    assert follow(session, take, position).start_s == pytest.approx(begin_s, abs=WITHIN_S)


@pytest.mark.parametrize("ppm", [-30.0, 30.0, 120.0])
def test_the_clocks_difference_is_told(
    sound: np.ndarray, session: SessionTrace, ppm: float
) -> None:
    """A recorder whose clock is slower takes fewer samples; told within 5 ppm over six minutes."""
    take = take_of(recorded(sound, 50.0, 410.0, ppm=ppm, rate=SLOW))
    position = find(session, take)
    assert position is not None
    course = follow(session, take, position)
    assert course.ppm == pytest.approx(-ppm, abs=5.0)
    assert not course.jumps


@pytest.mark.parametrize(("first", "then", "lost_s"), [(60.0, 60.2, 0.2), (60.0, 59.0, -1.0)])
def test_gaps_and_repeats_inside_a_file_are_told(
    sound: np.ndarray, session: SessionTrace, first: float, then: float, lost_s: float
) -> None:
    """What a file lacks, or has twice, is told with its length and its moment."""
    whole = recorded(sound, 80.0, 240.0, rate=SLOW)
    take = take_of(np.concatenate([whole[: int(first * SLOW)], whole[int(then * SLOW) :]]))
    position = find(session, take)
    assert position is not None
    (jump,) = follow(session, take, position).jumps
    assert jump.lost_s == pytest.approx(lost_s, abs=0.02)
    assert jump.at_s == pytest.approx(first, abs=1.5)


def test_another_nights_take_lies_nowhere(session: SessionTrace) -> None:
    """The same tracks with other words are not found."""
    for seed in (11, 12, 13):
        assert find(session, take_of(night(60.0, seed=seed, rate=SLOW))) is None


def test_silence_lies_nowhere(session: SessionTrace) -> None:
    """Digital silence could be anywhere."""
    assert find(session, take_of(np.zeros((30 * SLOW, len(TRACKS))))) is None


def test_a_wrong_rate_is_found_by_its_stretch(sound: np.ndarray, session: SessionTrace) -> None:
    """A take whose header states a rate that is too low lies within 20 ms where read faster."""
    piece = recorded(sound, 150.0, 260.0, rate=SLOW)
    stretch = 73 / 80  # 73 samples are taken for a hop of 80
    take = TakeTrace.of(levels(piece, HOP_S * stretch, SLOW), HOP_S)
    assert find(session, take) is None
    read_right = take.stretched(stretch)
    position = find(session, read_right)
    assert position is not None
    course = follow(session, read_right, position).read_with(stretch)
    assert course.start_s == pytest.approx(150.0, abs=WITHIN_S)
    assert course.session_s(take.duration_s) == pytest.approx(260.0, abs=WITHIN_S)


def test_aligned_levels_are_those_of_one_moment(sound: np.ndarray, session: SessionTrace) -> None:
    """Step by step the take's levels are the session's, but for its own gain."""
    take = take_of(recorded(sound, 33.377, 120.0, ppm=50.0, rate=SLOW))
    position = find(session, take)
    assert position is not None
    first, here, there = aligned(session, take, follow(session, take, position))
    assert first == 334
    assert here.shape == there.shape
    live = here > -50.0
    assert float(np.median(np.abs(there - here)[live])) < 1.0
