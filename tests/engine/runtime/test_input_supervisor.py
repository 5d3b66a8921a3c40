"""The input of a watch on a fake clock: a computer that stands still, sources that raise."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from engine.model.commands import Open
from engine.model.messages import Block, Fault, Samples
from engine.runtime.host import Host
from engine.runtime.input_supervisor import BUSY, SLOWEST_RETRY_S, STALL_S, InputSupervisor
from engine.runtime.runner import Runner
from engine.sources.base import SourceError, SourceInfo
from tests.engine.runtime.test_runner import Memory
from tests.support.signals import noise
from tests.support.strategies import untimed

RATE_HZ = 8_000
BLOCK_S = 0.02
BLOCK = round(BLOCK_S * RATE_HZ)


@dataclass
class Machine:
    """A computer and an interface on it; `hold_s` is what its drivers keep of a standstill."""

    now: float = 1000.0
    slept_s: float = 0.0
    hold_s: float = 0.2
    due: float = 1000.0
    waiting: deque[float] = field(default_factory=deque)
    raises: list[Exception] = field(default_factory=list)
    there: bool = True
    flagged: int = 0
    piece: Samples | None = None
    openings: int = 0

    def clock(self) -> float:
        """Steady; does not count sleep."""
        return self.now

    def sleep(self, seconds: float) -> None:
        """Let time pass."""
        self.now += seconds
        self._record()

    def _record(self) -> None:
        while self.due <= self.now:
            self.waiting.append(self.due)
            self.due += BLOCK_S

    def stand_still(self, seconds: float, flagged_s: float = 0.0) -> None:
        """Stopped or swapping: of what came the drivers keep the newest.

        `flagged_s` is what they say was lost, right or wrong.
        """
        self.now += seconds
        self._record()
        while len(self.waiting) > max(round(self.hold_s / BLOCK_S), 1):
            self.waiting.popleft()
        self.flagged = round(flagged_s * RATE_HZ)

    def suspend(self, seconds: float) -> None:
        """The lid is closed for so long."""
        self.slept_s += seconds

    def open(self, *_: object) -> Interface:
        """The interface, where it is there."""
        self.openings += 1
        if not self.there:
            raise SourceError("tower interface is gone")
        self.waiting.clear()
        self.due = self.now + BLOCK_S
        return Interface(self)

    @property
    def host(self) -> Host:
        """What a runner needs of it."""
        return Host(
            clock=self.clock,
            sleep=self.sleep,
            utc_ms=lambda: 0,
            day_s=lambda: 3600.0,
            suspended_s=lambda: self.slept_s,
            open_source=self.open,
            open_again=self.open,
        )


class Interface:
    """Two tracks of noise."""

    def __init__(self, machine: Machine) -> None:
        self.info = SourceInfo("tower interface", RATE_HZ, 2, ("", ""), live=True)
        self._machine = machine
        self._sound = noise(-30.0, 1.0, RATE_HZ, tracks=2)[:BLOCK]

    def read(self, timeout_s: float) -> Block | None:
        """The next block, waited for."""
        machine = self._machine
        if machine.raises:
            raise machine.raises.pop(0)
        if not machine.there:
            raise SourceError("tower interface stopped delivering")
        if machine.piece is not None:
            piece, machine.piece = machine.piece, None
            return Block(piece)
        if not machine.waiting:
            machine.sleep(min(timeout_s, BLOCK_S))
        if not machine.waiting:
            return None
        machine.waiting.popleft()
        lost, machine.flagged = machine.flagged, 0
        return Block(self._sound.copy(), lost, len(machine.waiting) * BLOCK)

    def close(self) -> None:
        """Nothing to let go of."""


class Night:
    """A watch on that machine."""

    def __init__(self) -> None:
        self.machine, self.log = Machine(), Memory()
        self.start = self.machine.now
        request = Open(device="tower")
        self.runner = Runner(request, lambda _: None, self.machine.host, log=self.log)

    def run(self, seconds: float) -> None:
        """Go on for so long."""
        end = self.machine.now + seconds
        while self.machine.now < end:
            assert self.runner._obey()
            self.runner._turn()

    @property
    def behind_s(self) -> float:
        """How far stream time is behind the clock, sleep counted."""
        machine = self.machine
        return machine.now + machine.slept_s - self.start - self.runner.snapshot().now_s

    @property
    def lost(self) -> dict[str, float]:
        """Audio lost in the log, by its reason, s."""
        found: dict[str, float] = {}
        for values in self.log.of("gap"):
            if values[0] == "audio":
                found[values[7]] = found.get(values[7], 0.0) + values[5]
        return found


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
    before = night.runner.input.steady_s()
    night.machine.suspend(50.0)
    night.run(1.0)
    assert night.runner.input.steady_s() == pytest.approx(before + 51.0, abs=0.1)


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
    assert "delivers nothing" in supervisor.reason


def test_what_a_server_held_back_is_left_out_where_it_is_told_as_lost() -> None:
    """After a stall all comes at once: stream time does not run ahead of the clock."""
    night = Night()
    night.run(3.0)
    held, night.machine.due = night.machine.due, night.machine.now + 5.0
    night.run(3.0)  # nothing comes: told as lost
    night.machine.due = held  # and now all of it
    night.run(3.0)
    assert night.behind_s == pytest.approx(0.0, abs=0.1)


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
