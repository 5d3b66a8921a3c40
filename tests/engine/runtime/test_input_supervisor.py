"""An input that raises, goes away or stalls is opened anew, on a fake clock."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.model.commands import Open
from engine.model.messages import Fault
from engine.runtime.host import Host
from engine.runtime.input_supervisor import SLOWEST_RETRY_S, STALL_S, InputSupervisor
from engine.runtime.runner import Runner
from engine.sources.base import SourceError, SourceInfo
from tests.support.input_night import RATE_HZ, Interface, Machine, Night
from tests.support.strategies import untimed


@settings(untimed, max_examples=8)
@given(
    errors=st.lists(
        st.sampled_from([RuntimeError("x"), MemoryError(), IndexError(), SourceError("gone")]),
        min_size=1,
        max_size=4,
    )
)
def test_a_source_that_raises_is_opened_anew(errors: list[Exception]) -> None:
    """Whatever it raises, the watch goes on, and what lies between is lost audio."""
    night = Night()
    night.run(3.0)
    night.machine.raises += errors
    night.run(SLOWEST_RETRY_S * (len(errors) + 1) + 2.0)
    assert night.behind_s == pytest.approx(0.0, abs=0.1)
    assert night.machine.openings == 1 + len(errors)
    assert Fault.INPUT_LOST not in {
        a.incident.fault for a in night.runner.snapshot().alarms if a.incident.end_s is None
    }


def test_a_lost_input_is_asked_for_less_often_as_time_goes() -> None:
    """Each try is a process: at most one in two seconds after a while, and never later."""
    night = Night()
    night.run(3.0)
    night.machine.there = False
    night.run(60.0)
    assert 25 <= night.machine.openings <= 40


def test_an_input_that_is_still_opening_is_not_said_to_deliver_nothing() -> None:
    """A driver takes its time; until it has opened, the reason is why it was lost."""
    machine = Machine()
    supervisor = InputSupervisor(Open(device="tower"), machine.host)
    assert supervisor.source is not None
    supervisor.source.opening = True  # type: ignore[attr-defined]
    assert not supervisor.stalls(machine.now + STALL_S + 1.0, 0.1)
    supervisor.source.opening = False  # type: ignore[attr-defined]
    assert supervisor.stalls(machine.now + STALL_S + 1.0, 0.1)
    assert "delivers nothing" in supervisor.losses.reason


def test_the_end_of_a_take_is_no_failure() -> None:
    """A replay whose source fails in its midst ends, and says why."""

    class Take(Interface):
        def __init__(self, machine: Machine) -> None:
            super().__init__(machine)
            self.info = SourceInfo("take.wav", RATE_HZ, 2, ("", ""), frames=80_000)

    machine = Machine()
    host = Host(clock=machine.clock, sleep=machine.sleep, open_source=lambda _: Take(machine))
    runner = Runner(Open(take="take.wav"), lambda _: None, host)
    machine.raises.append(SourceError("take.wav: damaged"))
    runner._turn()
    assert runner.snapshot().ended
    assert runner.snapshot().notice == "take.wav: damaged"
