"""However samples are cut into blocks on their way here, they raise the same alarms."""

from __future__ import annotations

from dataclasses import astuple
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings

from engine.model.messages import Block, Fault, Kind, PackLevel, Samples
from engine.model.tracks import Plan, Track
from engine.pipeline.pipeline import Pipeline
from tests.support.signals import noise
from tests.support.strategies import cuts
from tests.support.whole_watch import Result, watched, whole

RATE = 8_000
TAKE_FRAMES = round(6.0 * RATE)
PLAN = Plan(
    (
        Track(1, who="foreman", level=PackLevel.MAIN, receiver="A"),
        Track(2, who="foreman", level=PackLevel.SAFETY, receiver="A"),
        Track(3, kind=Kind.AMBIENCE),
        Track(4, kind=Kind.COMMS),
    )
)


def take(rate_hz: int, seconds: float = 6.0) -> Samples:
    """A take full of faults: mutes, NaN, clipping, a crowd that stops, noise of every level."""
    x = noise(-50.0, seconds, rate_hz, seed=3, tracks=4)

    def at(second: float) -> int:
        return round(second * rate_hz)

    x[at(1.013) : at(3.6), 0] = 0.0
    x[at(1.2) : at(2.0), 1] = 0.25
    x[at(3.0) : at(3.0) + 5, 1] = np.nan
    x[at(3.2) : at(3.2) + 1, 3] = np.inf
    x[at(1.5) : at(5.4), 2] *= 1e-2
    x[at(4.0) : at(5.0), 0] = np.clip(x[at(4.0) : at(5.0), 0] * 300, -0.4, 0.4)
    x[at(4.5) :, 1] = 1e-41
    return x


def assert_same(one: Result, other: Result) -> None:
    """Incidents are equal in every field, totals bit for bit."""
    assert one[0] == other[0]
    for a, b in zip(astuple(one[1]), astuple(other[1]), strict=True):
        assert a.tobytes() == b.tobytes()


@pytest.fixture(scope="module")
def faulty() -> Samples:
    """The take that is cut below; not to be written to."""
    samples = take(RATE)
    samples.flags.writeable = False
    assert len(samples) == TAKE_FRAMES
    return samples


@pytest.fixture(scope="module")
def uncut(faulty: Samples) -> Result:
    """What a watch of it in one block finds."""
    return whole(faulty, RATE, PLAN)


def test_the_take_holds_faults(uncut: Result) -> None:
    """The take that is cut below raises alarms of several kinds, ended and not."""
    assert {i.fault for i in uncut[0]} >= {Fault.MUTED, Fault.SILENT, Fault.SAMPLES_LOST}
    assert {i.end_s is None for i in uncut[0]} == {True, False}


@settings(max_examples=7, deadline=None)
@given(boundaries=cuts(TAKE_FRAMES))
def test_any_boundaries_give_the_same(
    faulty: Samples, uncut: Result, boundaries: list[int]
) -> None:
    """One take cut anywhere, empty blocks too, raises the same alarms and the same totals."""
    blocks = [Block(faulty[a:b]) for a, b in pairwise(boundaries)]
    assert_same(watched(Pipeline(PLAN, RATE), blocks), uncut)


@pytest.mark.parametrize("frames", [1, 79, 801, 4096])
def test_even_blocks_give_the_same(faulty: Samples, uncut: Result, frames: int) -> None:
    """Blocks of one length, down to a single frame, raise the same alarms."""
    blocks = [Block(faulty[a : a + frames]) for a in range(0, len(faulty), frames)]
    assert_same(watched(Pipeline(PLAN, RATE), blocks), uncut)


@pytest.mark.parametrize("rate_hz", [11_025, 44_100, 96_000])
def test_at_other_rates(rate_hz: int) -> None:
    """At any rate uneven blocks raise the same alarms as one."""
    samples = take(rate_hz)
    blocks, start, n = [], 0, 0
    while start < len(samples):
        length = (1, 1023, 4801, 17, rate_hz)[n % 5]
        blocks.append(Block(samples[start : start + length]))
        start, n = start + length, n + 1
    assert_same(watched(Pipeline(PLAN, rate_hz), blocks), whole(samples, rate_hz, PLAN))


@pytest.mark.parametrize(
    "rate_hz", [44_056, 44_144, 47_952, 48_048, 88_112, 95_904, 96_096, 113_536]
)
def test_at_rates_pulled_up_or_down(rate_hz: int) -> None:
    """0.1 % beside a usual rate (or nowhere near one), whatever numbers divide it: all is found."""
    plan = Plan((*PLAN.tracks[:3], Track(4, kind=Kind.TIMECODE)))
    found, _ = whole(take(rate_hz), rate_hz, plan)
    (muted,) = [i for i in found if i.track == 1 and i.fault is Fault.MUTED]
    assert muted.onset_s == pytest.approx(1.013, abs=0.02)
    assert muted.red_s == pytest.approx(1.013 + 2.0, abs=0.15)


@settings(max_examples=4, deadline=None)
@given(boundaries=cuts(TAKE_FRAMES))
def test_a_gap_at_any_boundaries_gives_the_same(faulty: Samples, boundaries: list[int]) -> None:
    """Lost frames in mid-stream lie at the same time whatever the blocks around them."""
    gap_at, lost = 20_011, 4_003
    both = sorted({*boundaries, gap_at})
    blocks = [Block(faulty[a:b], lost if a == gap_at else 0) for a, b in pairwise(both)]
    plain = [Block(faulty[:gap_at]), Block(faulty[gap_at:], lost)]
    assert_same(watched(Pipeline(PLAN, RATE), blocks), watched(Pipeline(PLAN, RATE), plain))


def test_memory_order_does_not_matter(faulty: Samples, uncut: Result) -> None:
    """Samples contiguous along frames or along channels raise the same alarms."""
    assert_same(whole(np.asfortranarray(faulty), RATE, PLAN), uncut)


def test_the_samples_are_not_altered() -> None:
    """Neither the block nor what it was cut from is written to."""
    samples = take(RATE)
    before = samples.tobytes()
    whole(samples, RATE, PLAN)
    assert samples.tobytes() == before


def test_a_block_may_be_reused(faulty: Samples, uncut: Result) -> None:
    """A source may write the next block into the same memory."""
    pipeline, memory = Pipeline(PLAN, RATE), np.empty((400, 4), dtype=np.float32)
    for start in range(0, len(faulty), 400):
        memory[:] = faulty[start : start + 400]
        pipeline.feed(Block(memory))
    pipeline.finish()
    assert_same((pipeline.incidents(), pipeline.totals()), uncut)
