"""Faults put into blocks as they pass."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.drill.drill_source import DrillSource, look_into
from engine.drill.schedule import Planned
from engine.drill.truth_source import truths_of
from engine.model.drill_causes import Cause
from engine.model.drill_truth import Truth
from engine.model.messages import Samples, Severity
from engine.sources.base import EndOfTake
from engine.sources.synthetic import ArraySource

RATE = 8000
SECONDS = 40
PLANNED = (
    Planned(1, Cause.MUTED, (1,), 12.0, 18.0, 0.9),
    Planned(2, Cause.DEAD_MIC, (2,), 13.37, 19.0, 0.5),
    Planned(3, Cause.DROPOUT, (3,), 16.0, 22.0, 0.7),
    Planned(4, Cause.NOTHING, (1, 2), 23.0, 28.0, 0.5),
    Planned(5, Cause.RECEIVER, (1, 3), 29.0, 33.0, 0.8),
    Planned(6, Cause.HUM, (2,), 33.5, 39.0, 0.9),
)


def take() -> Samples:
    """Three tracks: a place with words now and then."""
    rng = np.random.default_rng(5)
    frames = SECONDS * RATE
    words = 1.0 + 30.0 * (np.sin(2 * np.pi * 0.3 * np.arange(frames) / RATE) > 0.6)
    noise = 0.002 * rng.standard_normal((frames, 3)) * words[:, np.newaxis]
    return noise.astype(np.float32)


CLEAN = take()


def look(first: int, last: int, places: Sequence[int]) -> Samples:
    """Stretches of it."""
    return CLEAN[first:last, list(places)]


def drilled(lengths: Sequence[int], first_frame: int = 0) -> tuple[Samples, list[Truth]]:
    """All of it in blocks of those lengths, over and over, and the truths as they came."""
    source = ArraySource(CLEAN[first_frame:], RATE, 1)
    drill = DrillSource(source, PLANNED, look, 11, first_frame)
    pieces, truths = [], []
    turn = 0
    while True:
        source._block_frames = lengths[turn % len(lengths)]
        turn += 1
        try:
            block = drill.read(0.1)
        except EndOfTake:
            return np.concatenate(pieces), truths
        assert block is not None
        pieces.append(block.samples)
        truths += truths_of(drill)


WHOLE, TRUTHS = drilled([SECONDS * RATE])


@settings(max_examples=15, deadline=None)
@given(lengths=st.lists(st.integers(37, 90_000), min_size=1, max_size=6))
def test_block_length_changes_nothing(lengths: list[int]) -> None:
    """The same samples and truths come whatever the length of the blocks."""
    samples, truths = drilled(lengths)
    np.testing.assert_array_equal(samples, WHOLE)
    assert truths == TRUTHS


def test_only_the_planned_spans_change() -> None:
    """Outside the faults each track is sample for sample the take; inside it is not."""
    changed = WHOLE != CLEAN
    planned = np.zeros_like(changed)
    for one in PLANNED:
        span = slice(round(one.onset_s * RATE), round(one.end_s * RATE))
        for track in one.tracks:
            planned[span, track - 1] = True
            assert changed[span, track - 1].any()
    assert not (changed & ~planned).any()


def test_the_take_itself_is_left_alone() -> None:
    """Blocks of the source below are never written to."""
    np.testing.assert_array_equal(CLEAN, take())


def test_truth_says_what_was_put_in() -> None:
    """Each fault is told once, inside its plan; the false friend deserves no alarm."""
    assert [t.number for t in TRUTHS] == [1, 2, 3, 4, 5, 6]
    for one, truth in zip(PLANNED, TRUTHS, strict=True):
        assert one.onset_s - 1e-6 <= truth.onset_s < truth.end_s <= one.end_s + 1e-6
        assert (truth.cause, truth.tracks) == (one.cause, one.tracks)
    assert [t.severity for t in TRUTHS if t.cause is Cause.NOTHING] == [None]
    assert TRUTHS[0].severity is Severity.RED


def test_truth_comes_no_sooner_than_its_fault() -> None:
    """Nobody can learn of a fault before it began."""
    drill = DrillSource(ArraySource(CLEAN, RATE, RATE), PLANNED, look, 11)
    for second in range(1, SECONDS + 1):
        drill.read(0.1)
        assert all(truth.onset_s <= second for truth in drill.take_truths())


@pytest.mark.parametrize("at_s", [5.0, 15.0, 31.25])
def test_going_on_in_the_middle_gives_the_same(at_s: float) -> None:
    """A drill taken up again at any place has the same faults from there on."""
    first = round(at_s * RATE)
    samples, _ = drilled([4000], first)
    np.testing.assert_array_equal(samples, WHOLE[first:])


def one(planned: Planned) -> tuple[Samples, Truth]:
    """All of the take with that one fault in, and its truth."""
    drill = DrillSource(ArraySource(CLEAN, RATE, len(CLEAN)), [planned], look, 11)
    block = drill.read(0.1)
    assert block is not None
    (truth,) = drill.take_truths()
    return block.samples, truth


def test_only_one_pack_of_a_pair_is_inverted() -> None:
    """Both may be answered, one is changed."""
    samples, truth = one(Planned(1, Cause.POLARITY, (2, 3), 14.0, 34.0, 0.5))
    span = slice(14 * RATE, 34 * RATE)
    np.testing.assert_array_equal(samples[span, 1], -CLEAN[span, 1])
    np.testing.assert_array_equal(samples[:, 2], CLEAN[:, 2])
    assert (truth.tracks, truth.severity) == ((2, 3), Severity.AMBER)


def test_what_shows_in_speech_alone_needs_enough_of_it() -> None:
    """The words fill a third of the time here: 4 s hold less than the 5 s of speech (CONTRACT.md),
    so nothing is put in and nothing told."""
    planned = [Planned(1, Cause.POLARITY, (2, 3), 14.0, 18.0, 0.5)]
    drill = DrillSource(ArraySource(CLEAN, RATE, len(CLEAN)), planned, look, 11)
    block = drill.read(0.1)
    assert block is not None
    np.testing.assert_array_equal(block.samples, CLEAN)
    assert drill.take_truths() == []


def test_a_duplicate_is_one_input_on_another() -> None:
    """The lower one stays as it was, the higher one carries it."""
    samples, truth = one(Planned(1, Cause.DUPLICATE, (1, 3), 14.0, 34.0, 0.95))
    span = slice(14 * RATE, 34 * RATE)
    np.testing.assert_array_equal(samples[span, 2], CLEAN[span, 0])
    np.testing.assert_array_equal(samples[:, :2], CLEAN[:, :2])
    assert truth.severity is Severity.RED


def test_an_unexpected_signal_comes_from_another_input() -> None:
    """Its source stays as it was."""
    samples, truth = one(Planned(1, Cause.UNEXPECTED, (3,), 14.0, 34.0, 0.9, source=2))
    np.testing.assert_array_equal(samples[:, :2], CLEAN[:, :2])
    level = 10 * np.log10(2 * np.mean(samples[15 * RATE : 33 * RATE, 2].astype(float) ** 2))
    assert level > -50.0  # the limit of CONTRACT.md
    assert truth.tracks == (3,)


def test_the_false_friend_keeps_the_place() -> None:
    """Who says nothing is at the level of the place: neither silent nor talking."""
    span = slice(24 * RATE, 27 * RATE)
    level = 20 * np.log10(np.sqrt(np.mean(WHOLE[span, :2] ** 2, axis=0)))
    place = 20 * np.log10(0.002)
    assert np.all(np.abs(level - place) < 4.0)
    hops = WHOLE[span, :2].reshape(-1, RATE // 100, 2)
    quietest = 10 * np.log10(np.mean(hops**2, axis=1).min(axis=0))
    assert np.all(quietest > place - 8.0)  # no hole that would pass for a dropout


def test_stretches_are_read_exactly(tmp_path: object) -> None:
    """What is looked up is the take's own samples at those frames."""
    import soundfile as sf

    path = f"{tmp_path}/take.wav"
    sf.write(path, CLEAN, RATE, subtype="FLOAT")
    found = look_into(path, RATE)
    for first, last in ((0, 10), (12_345, 98_765), (SECONDS * RATE - 7, SECONDS * RATE + 100)):
        np.testing.assert_array_equal(found(first, last, (0, 2)), CLEAN[first:last, [0, 2]])


def test_what_fails_slowly_is_one_fault_to_the_end() -> None:
    """Its truth spans the minutes that it takes, and says in what it ends."""
    frames = 300 * RATE
    clean = np.tile(CLEAN, (8, 1))[:frames]
    planned = (Planned(1, Cause.CREEPING, (2,), 30.0, 270.0, 0.5),)
    source = ArraySource(clean, RATE, RATE)
    drill = DrillSource(source, planned, lambda a, b, places: clean[a:b, list(places)], 3)
    blocks = [drill.read(0.1) for _ in range(300)]
    (truth,) = truths_of(drill)
    assert (truth.cause, truth.tracks, truth.severity) == (Cause.CREEPING, (2,), Severity.RED)
    assert (truth.onset_s, truth.end_s) == (30.0, 270.0)
    done = np.concatenate([block.samples for block in blocks if block is not None])
    assert np.flatnonzero((done != clean).any(axis=0)).tolist() == [1]
