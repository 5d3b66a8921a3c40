"""The time that the computer slept."""

from __future__ import annotations

import sys
import time

import pytest

from engine.runtime.clocks import suspended_s


@pytest.mark.skipif(sys.platform != "linux", reason="clocks of Linux")
def test_sleep_is_the_difference_of_the_two_clocks(monkeypatch: pytest.MonkeyPatch) -> None:
    """CLOCK_BOOTTIME counts a sleep and CLOCK_MONOTONIC does not (clock_gettime(2))."""
    clocks = {time.CLOCK_BOOTTIME: 500.0, time.CLOCK_MONOTONIC: 380.0}
    monkeypatch.setattr(time, "clock_gettime", clocks.__getitem__)
    assert suspended_s() == 120.0


def test_it_does_not_grow_while_the_computer_is_awake() -> None:
    """Two readings in a row are equal to a few milliseconds."""
    assert suspended_s() == pytest.approx(suspended_s(), abs=0.1)
