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
@given(sound=takes(), at_once=st.integers(1, 9))
def test_ticks_arrive_as_they_were_sent(sound: Samples, at_once: int) -> None:
    """Every field is the same, and lies in memory as it did: sums over it keep their order."""
    ticks = TickFramer(scene(sound.shape[1], 8_000)).feed(sound, at_once)
    sent = [replace(tick, measurement=tick.measurement.without_samples()) for tick in ticks]
    if not sent:
        return
    came = unpack(pickle.loads(pickle.dumps(pack(sent))))
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
