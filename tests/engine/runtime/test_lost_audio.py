"""What a standstill, a sleep or a stall costs, on a fake clock: audio, named, and no time."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.model.messages import Fault
from engine.runtime.lost_audio import BUSY
from tests.support.input_night import BLOCK_S, RATE_HZ, Night
from tests.support.signals import noise
from tests.support.strategies import untimed


@settings(untimed, max_examples=8)
@given(
    stops=st.lists(
        st.tuples(st.floats(0.3, 60.0), st.floats(0.0, 4.0), st.floats(2.0, 8.0)),
        min_size=1,
        max_size=5,
    )
)
def test_a_computer_that_stands_still_loses_audio_and_no_time(
    stops: list[tuple[float, float, float]],
) -> None:
    """Any stops, whatever the drivers hold: stream time is with the clock, the loss is named."""
    night = Night()
    night.run(4.0)
    for stop_s, night.machine.hold_s, then_s in stops:
        night.machine.stand_still(stop_s)
        night.run(then_s)
        assert -0.1 <= night.behind_s <= 0.3
    assert set(night.lost) <= {BUSY}
    missing_s = sum(max(s - max(h, BLOCK_S), 0.0) for s, h, _ in stops)
    assert sum(night.lost.values()) == pytest.approx(missing_s, abs=0.25 + 0.1 * len(stops))
    faults = {values[3] for values in night.log.of("incident")}
    assert Fault.INPUT_LOST.value not in faults, "the interface did deliver"


@pytest.mark.parametrize("hold_s", [0.1, 0.7, 1.4])
def test_a_driver_that_counts_too_much_as_lost_does_not_turn_the_clock(hold_s: float) -> None:
    """It flags the whole stop as lost, and hands over the end of it all the same; ten times."""
    night = Night()
    night.machine.hold_s = hold_s
    night.run(5.0)
    before_s = night.behind_s
    for _ in range(10):
        night.machine.stand_still(1.5, flagged_s=1.5)
        night.run(4.0)
    assert night.behind_s == pytest.approx(before_s, abs=0.1)


@pytest.mark.parametrize("device_survives", [True, False])
def test_a_sleep_is_told_with_its_length_and_time_goes_on_right(device_survives: bool) -> None:
    """The lid closed for ten minutes: lost audio named as sleep, time of day as it should be."""
    night = Night()
    night.run(5.0)
    night.machine.suspend(600.0)
    if not device_survives:
        night.machine.there = False
        night.run(1.0)
        assert night.behind_s == pytest.approx(0.0, abs=0.15)
        night.machine.there = True
    night.run(5.0)
    assert night.behind_s == pytest.approx(0.0, abs=0.1)
    (reason,) = night.lost
    assert reason == "the computer slept for 600.0 s"
    assert night.lost[reason] == pytest.approx(600.0, abs=2.5)
    assert night.runner.snapshot().timecode.startswith("01:10:1")


def test_a_restart_after_a_sleep_counts_the_sleep() -> None:
    """What a checkpoint says of time includes it: both engines agree on when audio last came."""
    night = Night()
    night.run(2.0)
    before = night.runner.input.losses.steady_s()
    night.machine.suspend(50.0)
    night.run(1.0)
    assert night.runner.input.losses.steady_s() == pytest.approx(before + 51.0, abs=0.1)


def test_what_a_server_held_back_is_left_out_where_it_is_told_as_lost() -> None:
    """After a stall all comes at once: stream time does not run ahead of the clock."""
    night = Night()
    night.run(3.0)
    held, night.machine.due = night.machine.due, night.machine.now + 5.0
    night.run(3.0)  # nothing comes: told as lost
    night.machine.due = held  # and now all of it
    night.run(3.0)
    assert night.behind_s == pytest.approx(0.0, abs=0.1)


def test_a_first_block_that_holds_the_whole_stall_does_not_turn_the_clock() -> None:
    """A recording process that stood still hands over in one piece what its server held."""
    night = Night()
    night.run(5.0)
    before_s = night.behind_s
    for _ in range(5):
        held, night.machine.due = night.machine.due, night.machine.now + 0.9
        night.run(0.85)  # told as lost after a while
        night.machine.due = held
        piece = round((night.machine.now - held) * RATE_HZ)
        night.machine.piece = noise(-30.0, piece / RATE_HZ, RATE_HZ, tracks=2)
        night.machine.due = night.machine.now + BLOCK_S
        night.run(4.0)
    assert night.behind_s == pytest.approx(before_s, abs=0.1)
