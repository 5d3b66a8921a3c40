"""The ring of the last minute: what comes out is what went in, however it was cut.

Checked against the samples put in.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

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
    """64 tracks at 96 kHz take no more than 256 MiB, and the ring says how long it is then."""
    ring = Ring(range(1, 65), 96_000)
    assert ring._kept.nbytes <= MOST_BYTES
    assert 20.0 < ring.seconds < 60.0
    assert Ring(range(1, 33), 48_000).seconds == 60.0


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
