"""The ring of the last minute: what comes out is what went in, however it was cut.

Checked against the samples put in.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from engine.listen import ring as ring_module
from engine.listen.block_float import BLOCK
from engine.listen.ring import MOST_BYTES, SCALE, Ring
from engine.model.messages import Samples
from tests.support.signals import noise
from tests.support.strategies import cuts, untimed

RATE = 1_000
STEP = 0.5 / SCALE + 1e-7
"""Rounding to 16 bits moves a sample by at most half a step: arithmetic."""


def sound(frames: int, tracks: int = 3) -> Samples:
    """Noise in full scale."""
    return np.clip(noise(-20.0, frames / RATE, RATE, tracks=tracks), -1.0, 1.0)


@untimed
@given(data=st.data(), frames=st.integers(1, 900), capacity_s=st.sampled_from([0.05, 0.3, 2.0]))
def test_it_gives_back_the_newest_however_it_was_cut(
    data: st.DataObject, frames: int, capacity_s: float
) -> None:
    """Every frame still held reads as it was put in, to half a 16-bit step, on its own track."""
    take = sound(frames)
    ring = Ring((3, 1), RATE, seconds=capacity_s)
    places = data.draw(cuts(frames))
    for begin, end in pairwise(places):
        ring.put(take[begin:end], end)
    assert ring.end == frames
    assert ring.end - ring.oldest == min(frames, ring.capacity)
    held = slice(ring.oldest, ring.end)
    for track in (1, 3):
        got = ring.read(track, ring.oldest, ring.end - ring.oldest)
        assert np.abs(got - take[held, track - 1]).max() <= STEP


@untimed
@given(start=st.integers(-400, 1500), count=st.integers(0, 700), gap=st.integers(0, 1500))
def test_a_gap_and_what_is_not_held_are_silence(start: int, count: int, gap: int) -> None:
    """Reading never fails: lost frames, the future and what was overwritten are silent."""
    ring = Ring((1,), RATE, seconds=0.5)
    take = sound(200, 1)
    ring.put(take, 200)
    ring.put(take, 400 + gap)
    whole = np.zeros(4000, dtype=np.float32)
    whole[1000:1200] = take[:, 0]
    whole[1200 + gap : 1400 + gap] = take[:, 0]
    whole[: 1000 + ring.oldest] = 0.0
    want = whole[1000 + start : 1000 + start + count]
    assert np.abs(ring.read(1, start, count) - want).max(initial=0.0) <= STEP


def test_memory_has_a_bound_and_says_what_it_costs() -> None:
    """However many and fast the tracks are, the ring keeps to its bound and says how long it is."""
    for tracks, rate_hz, seconds in (
        (17, 48_000, 60.0),
        (33, 48_000, 60.0),
        (64, 48_000, 30.0),
        (64, 96_000, 14.0),
        (512, 96_000, 0.9),
    ):
        ring = Ring(range(1, tracks + 1), rate_hz)
        assert ring.nbytes <= MOST_BYTES
        assert ring.seconds >= seconds


def coarse(tracks: Sequence[int], seconds: float = 4.0, start_frame: int = 0) -> Ring:
    """A ring that has no room for 16 bits but in its newest second."""
    return Ring(tracks, RATE, start_frame, seconds, most_bytes=round(6_500 * len(tracks)))


@untimed
@given(data=st.data(), frames=st.integers(1, 9_000), start_frame=st.integers(0, 500))
def test_what_is_older_is_kept_to_48_db_below_its_peak(
    data: st.DataObject, frames: int, start_frame: int
) -> None:
    """However it was cut, the newest second is exact to 16 bits; older sound is to half its step,
    which is at most 1/127 of the loudest within a block of it, and exact where that is quiet."""
    take = sound(frames) * np.where(np.arange(frames) // 700 % 2, 1.0, 0.01)[:, None]
    ring = coarse((3, 1), start_frame=start_frame)
    assert ring.seconds == 4.0
    for begin, end in pairwise(data.draw(cuts(frames))):
        ring.put(take[begin:end], start_frame + end)
    assert ring.oldest == max(start_frame, ring.end - ring.capacity)
    for track in (1, 3):
        put_in = take[ring.oldest - start_frame :, track - 1]
        off = np.abs(ring.read(track, ring.oldest, len(put_in)) - put_in)
        assert off[-RATE * 9 // 10 :].max() <= STEP
        reach = np.pad(np.abs(put_in), BLOCK, mode="edge")
        peak = np.lib.stride_tricks.sliding_window_view(reach, 2 * BLOCK + 1).max(axis=1)
        before = np.abs(take[max(0, ring.oldest - start_frame - BLOCK) :, track - 1])
        peak[:BLOCK] = before[: 3 * BLOCK].max()
        assert (off <= STEP + np.where(peak > 127.5 / SCALE, peak / 127.0, 0.0)).all()


def test_a_long_gap_is_silent_in_what_is_older() -> None:
    """Lost audio of any length, longer than the newest part or than the whole, reads as silence."""
    for gap in (50, 1_500, 3_999, 20_000):
        ring = coarse((1,))
        ring.put(sound(1_700, 1), 1_700)
        ring.put(sound(300, 1), 2_000 + gap)
        whole = ring.read(1, 0, 2_000 + gap)
        assert not whole[max(1_700 + BLOCK, gap) : 1_700 + gap].any()  # a block shares its step
        assert np.abs(whole[1_700 + gap :] - sound(300, 1)[:, 0]).max() <= STEP


@pytest.mark.parametrize("tracks", [(2, 3), (2,), (1, 2, 3)])
@pytest.mark.parametrize("before", [coarse, lambda tracks: Ring(tracks, RATE, seconds=4.0)])
@pytest.mark.parametrize("after", [6_500, 10**6])
def test_coarse_or_not_a_track_that_stays_keeps_what_it_had(
    monkeypatch: pytest.MonkeyPatch,
    tracks: tuple[int, ...],
    before: Callable[[Sequence[int]], Ring],
    after: int,
) -> None:
    """Whether the plans of before and after have room for 16 bits or not; it goes on from there."""
    ring, take = before((1, 2)), sound(5_111)
    ring.put(take[:5_000], 5_000)
    monkeypatch.setattr(ring_module.Ring.__init__, "__defaults__", (0, 4.0, after * len(tracks)))
    other = ring.with_inputs(tracks)
    for one in (ring, other):
        one.put(take[5_000:], 5_111)
    for begin, frames in ((other.oldest, 3_000), (4_200, 800), (4_900, 211)):
        off = other.read(2, begin, frames) - ring.read(2, begin, frames)
        exact = begin >= 4_200 or (ring._older is None) == (other._older is None)
        assert np.abs(off).max() <= (STEP if exact else np.abs(take).max() / 127.0)


def test_samples_that_are_no_numbers_stay_harmless() -> None:
    """NaN is silence, infinity and overload are full scale."""
    ring = Ring((1,), RATE)
    ring.put(np.array([[np.nan], [np.inf], [-np.inf], [7.0]], dtype=np.float32), 4)
    assert ring.read(1, 0, 4).tolist() == [0.0, 1.0, -1.0, 1.0]
    ring.put(np.array([[np.inf], [-np.inf], [3e38], [3e38]], dtype=np.float32), 8)
    assert ring.read(1, 4, 4).tolist() == [1.0, -1.0, 1.0, 1.0]
    signalling = np.array([0x7FA00000, 0x3F800000], dtype=np.uint32)  # IEEE 754-2019, 6.2.1
    ring.put(signalling.view(np.float32)[:, None], 10)
    assert ring.read(1, 8, 2).tolist() == [0.0, 1.0]


def test_other_inputs_go_on_from_what_was_kept() -> None:
    """After a change of plan the tracks that stay keep their minute, fresh ones begin silent."""
    take = sound(300)
    ring = Ring((1, 2), RATE, seconds=0.2)
    ring.put(take, 300)
    other = ring.with_inputs((2, 3))
    other.put(take[:50], 350)
    assert np.array_equal(other.read(2, ring.oldest, 200), ring.read(2, ring.oldest, 200))
    assert not other.read(3, 0, 300).any()
    assert np.abs(other.read(3, 300, 50) - take[:50, 2]).max() <= STEP
    assert not other.holds(1)
