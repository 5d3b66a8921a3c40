"""Ticks on their way to another process."""

from __future__ import annotations

import pickle
from dataclasses import fields, replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from engine.model.messages import Samples
from engine.pipeline.framing import TickFramer
from engine.pipeline.tick_transport import pack, unpack
from tests.support.signals import scene
from tests.support.strategies import takes, untimed


@untimed
@given(sound=takes(), at_once=st.integers(1, 9), with_sound=st.booleans())
def test_ticks_arrive_as_they_were_sent(sound: Samples, at_once: int, with_sound: bool) -> None:
    """Every field is the same, and lies in memory as it did: sums over it keep their order."""
    ticks = list(TickFramer(scene(sound.shape[1], 8_000)).feed(sound, at_once))
    if not ticks:
        return
    light = [tick.measurement.without_samples() for tick in ticks]
    apart = None
    if with_sound:
        apart = np.array([tick.measurement.samples.T for tick in ticks])
        light = [
            replace(m, samples=tick.measurement.samples)
            for m, tick in zip(light, ticks, strict=True)
        ]
    sent = [replace(tick, measurement=m) for tick, m in zip(ticks, light, strict=True)]
    came = unpack(pickle.loads(pickle.dumps(pack(ticks))), apart)
    assert [tick.number for tick in came] == [tick.number for tick in sent]
    for one, other in zip(sent, came, strict=True):
        assert one.lost_frames == other.lost_frames
        for field in fields(one.measurement):
            ours = getattr(one.measurement, field.name)
            theirs = getattr(other.measurement, field.name)
            if isinstance(ours, np.ndarray):
                np.testing.assert_array_equal(ours, theirs, strict=True)
                if ours.ndim == 2 and ours.size:
                    assert ours.flags.c_contiguous == theirs.flags.c_contiguous, field.name
            else:
                assert ours == theirs, field.name
