"""Code that goes away or jumps, read by libltc, another program's decoder."""

from __future__ import annotations

import numpy as np
import pytest

from engine.inject.base import Planted
from engine.inject.registry import inject
from engine.model.messages import Fault, Samples, Severity
from tests.references import libltc
from tests.support.timecode_signals import code

RATE = 48_000
START = 10 * 3600


def seconds_heard(samples: Samples) -> list[int]:
    """Whole seconds of the day of each frame that libltc hears."""
    heard = libltc.decode(samples[:, 0], RATE, 25)
    return [h * 3600 + m * 60 + s for h, m, s, _ in (one.fields for one in heard)]


def put(strength: float, wanted: str) -> tuple[Samples, Planted]:
    """The fault from 20 to 28 s of 32 s of code, by the first seed that gives that way."""
    clean = code("25", "10:00:00:00", 32 * 25, RATE)[:, np.newaxis]
    for seed in range(40):
        rng = np.random.default_rng(seed)
        done, truth = inject(clean, RATE, Fault.TIMECODE, [1], 20.0, 28.0, strength, rng)
        if wanted in truth.remark:
            return done, truth
    raise AssertionError(f"no seed gave {wanted}")


def test_a_cable_that_is_out_leaves_no_frame() -> None:
    """Nothing is heard in the span, all is heard round it; long enough for red."""
    done, truth = put(0.5, "cable out")
    assert seconds_heard(done[round(20.1 * RATE) : 28 * RATE]) == []
    assert set(seconds_heard(done)) == {START + n for n in (*range(20), *range(28, 32))}
    assert truth.severity is Severity.RED


@pytest.mark.parametrize(("strength", "back_s"), [(0.0, 1), (0.5, 8), (1.0, 15)])
def test_code_that_jumps_counts_on_from_there(strength: float, back_s: int) -> None:
    """It goes on without a gap that many seconds earlier, and deserves amber at most."""
    done, truth = put(strength, "jumps")
    inside = seconds_heard(done[round(20.1 * RATE) : round(27.9 * RATE)])
    assert set(inside) == {START + n - back_s for n in range(20, 28)}
    assert truth.severity is Severity.AMBER
