"""One alarm through time: its delays, its priorities, its states.

Sources: on-delay, off-delay and shelving as ISA-18.2 and OPC UA Part 9 have them, chattering as
three raises or more in a minute, all as public summaries state it (the standards were not read).
"""

from __future__ import annotations

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from engine.alarms import machine
from engine.alarms.machine import ActiveFault, AlarmRecord, Change, Evaluation
from engine.alarms.states import HIDDEN, Event, Phase
from engine.model.messages import AlarmState as S
from engine.model.messages import Fault, Severity, State

AMBER_S, RED_S, OFF_S = 0.5, 2.0, 1.0
TICK_S = 0.1
SAMPLE_S = 1 / 192_000


def name(
    onset_s: float, last_s: float, fault: Fault = Fault.MUTED, rank: int = 3, **delays: float
) -> ActiveFault:
    """A fault with the delays above unless others are given."""
    amber_s, red_s = delays.get("amber_s", AMBER_S), delays.get("red_s", RED_S)
    return ActiveFault(fault, onset_s, last_s, onset_s + amber_s, onset_s + red_s, rank=rank)


def active(*names: ActiveFault) -> Evaluation:
    """An evaluation of those faults."""
    return Evaluation(State.ACTIVE, names, OFF_S)


CLEAR = Evaluation(State.CLEAR, off_s=OFF_S)
UNKNOWN = Evaluation(State.UNKNOWN, off_s=OFF_S)


def raised(until_s: float = 1.0) -> AlarmRecord:
    """An alarm raised by a fault that began at 0."""
    record, _ = machine.step(AlarmRecord(), active(name(0.0, until_s)), until_s - TICK_S, until_s)
    return record


@pytest.mark.parametrize(
    ("length_s", "said"),
    [(AMBER_S - SAMPLE_S, False), (AMBER_S, True), (AMBER_S + SAMPLE_S, True)],
)
def test_on_delay_is_inclusive(length_s: float, said: bool) -> None:
    """A fault as long as the on-delay is said, one sample shorter is not."""
    record, changes = machine.step(AlarmRecord(), active(name(0.0, length_s)), 0.4, 0.6)
    assert record.raised is said
    assert [c.event for c in changes] == ([Event.RAISE] if said else [])


@pytest.mark.parametrize(
    ("length_s", "red"), [(RED_S - SAMPLE_S, False), (RED_S, True), (RED_S + SAMPLE_S, True)]
)
def test_red_delay_is_inclusive(length_s: float, red: bool) -> None:
    """A fault as long as the red delay goes red, one sample shorter stays amber."""
    record, _ = machine.step(raised(), active(name(0.0, length_s)), 1.9, 2.1)
    assert (record.severity is Severity.RED) is red


@pytest.mark.parametrize(
    ("gone_s", "ends"), [(OFF_S - SAMPLE_S, False), (OFF_S, True), (OFF_S + SAMPLE_S, True)]
)
def test_off_delay_is_inclusive(gone_s: float, ends: bool) -> None:
    """An alarm ends once its condition is gone for the off-delay, not one sample sooner."""
    record, changes = machine.step(raised(), CLEAR, 1.0, 1.0 + gone_s)
    assert record.raised is not ends
    assert [c.event for c in changes] == ([Event.CLEAR] if ends else [])


def test_the_stamp_is_the_due_time_inside_the_tick() -> None:
    """An alarm is stamped when it was due, not when the tick that noticed it ended."""
    _, changes = machine.step(AlarmRecord(), active(name(0.03, 0.6)), 0.5, 0.6)
    assert changes == [Change(Event.RAISE, 0.53)]


def test_a_due_time_long_past_is_stamped_now() -> None:
    """An alarm noticed late is not stamped as if it had been raised in the past."""
    _, changes = machine.step(AlarmRecord(), active(name(0.0, 60.0)), 59.9, 60.0)
    assert [(c.event, c.at_s) for c in changes] == [(Event.RAISE, 60.0), (Event.ESCALATE, 60.0)]


def test_a_return_restarts_the_off_delay() -> None:
    """A condition that returns within the off-delay leaves one alarm, whose wait starts anew."""
    record, _ = machine.step(raised(), CLEAR, 1.3, 1.4)
    assert record.phase is Phase.CLEARING
    record, changes = machine.step(record, active(name(1.4, 1.5)), 1.4, 1.5)
    assert not changes
    assert record.phase is Phase.ACTIVE
    _, changes = machine.step(record, CLEAR, 2.3, 2.4)
    assert not changes


def test_a_gap_while_pending_starts_the_wait_again() -> None:
    """Two short faults with sound between them are not one long fault."""
    record, _ = machine.step(AlarmRecord(), active(name(0.0, 0.4)), 0.3, 0.4)
    record, _ = machine.step(record, CLEAR, 0.4, 0.5)
    record, _ = machine.step(record, active(name(0.5, 0.6)), 0.5, 0.6)
    assert not record.raised
    assert record.since_s == 0.5


def test_a_condition_is_pending_until_it_was_true_for_the_on_delay() -> None:
    """Pending is a phase of its own: no alarm yet, and gone without a trace when it lapses."""
    pending, changes = machine.step(AlarmRecord(), active(name(0.0, 0.4)), 0.3, 0.4)
    assert (pending.phase, pending.raised, changes) == (Phase.PENDING, False, [])
    lapsed, changes = machine.step(pending, CLEAR, 0.4, 0.5)
    assert (lapsed, changes) == (AlarmRecord(), [])


def test_a_shelved_or_returned_alarm_can_be_pending_too() -> None:
    """The phase runs beside the alarm state, so a pending condition loses nothing of the crew's."""
    returned, _ = machine.step(raised(), CLEAR, 2.9, 3.0)
    shelved = machine.apply(AlarmRecord(), Event.SHELVE)
    for record in (returned, shelved):
        pending, _ = machine.step(record, active(name(4.0, 4.2)), 4.1, 4.2)
        assert (pending.state, pending.phase) == (record.state, Phase.PENDING)


def test_a_gap_inside_one_tick_starts_the_wait_again() -> None:
    """Sound between two short faults counts though no tick was clear."""
    record, _ = machine.step(AlarmRecord(), active(name(0.0, 0.40)), 0.3, 0.4)
    record, _ = machine.step(record, active(name(0.45, 0.60)), 0.5, 0.6)
    assert not record.raised


def test_renaming_keeps_onset_and_earliest_deadline() -> None:
    """A loss that gets another name keeps its onset, and the earliest deadline counts."""
    silent = name(0.0, 3.0, Fault.SILENT, rank=1, amber_s=10.0, red_s=20.0)
    record, _ = machine.step(AlarmRecord(), active(silent), 2.9, 3.0)
    record, changes = machine.step(record, active(name(3.0, 3.6)), 3.5, 3.6)
    assert record.fault is Fault.MUTED
    assert record.since_s == 0.0
    assert changes == [Change(Event.RAISE, 3.5)]


def test_a_name_has_an_onset_of_its_own() -> None:
    """What turns out muted after 3 s of silence was muted for as long as it was called so; seen to
    have begun earlier, it is dated back, and never forward."""
    silent = name(0.0, 3.0, Fault.SILENT, rank=1, amber_s=10.0, red_s=20.0)
    record, _ = machine.step(AlarmRecord(), active(silent), 2.9, 3.0)
    for now_s, onset_s, named_s in ((3.6, 3.0, 3.0), (3.7, 2.8, 2.8), (3.8, 3.5, 2.8)):
        record, _ = machine.step(record, active(name(onset_s, now_s)), now_s - TICK_S, now_s)
        assert record.named_since_s == named_s
    assert record.since_s == 0.0


def test_a_name_that_tells_more_is_kept_for_a_moment() -> None:
    """While a muted track comes back it is not renamed to silent, unless silence goes on."""
    record = raised(3.0)
    for now_s, fault in ((3.3, Fault.MUTED), (3.9, Fault.MUTED), (4.0, Fault.SILENT)):
        silent = name(0.0, now_s, Fault.SILENT, rank=1, amber_s=10.0, red_s=20.0)
        record, _ = machine.step(record, active(silent), now_s - TICK_S, now_s)
        assert record.fault is fault


def test_chattering_ends_a_minute_after_the_last_raise() -> None:
    """Three raises in a minute make an alarm unstable (ISA-18.2), for no longer than that."""
    record = AlarmRecord()
    for at_s in (0.0, 20.0, 60.0):
        record, _ = machine.step(record, active(name(at_s, at_s + 0.5)), at_s + 0.4, at_s + 0.5)
        was_unstable = record.unstable
        record, _ = machine.step(record, CLEAR, at_s + 1.4, at_s + 1.5)
    assert was_unstable
    record, _ = machine.step(record, active(name(90.0, 90.1)), 90.0, 90.1)
    assert not record.unstable


def test_raises_a_little_more_than_a_minute_apart_are_stable() -> None:
    """The third raise counts only within a minute of the first."""
    record = AlarmRecord()
    for at_s in (0.0, 20.0, 60.1):
        record, _ = machine.step(record, active(name(at_s, at_s + 0.5)), at_s + 0.4, at_s + 0.5)
        assert not record.unstable
        record, _ = machine.step(record, CLEAR, at_s + 1.4, at_s + 1.5)


def test_limits_that_change_while_an_alarm_waits() -> None:
    """A shorter delay set in mid-wait counts at once, a longer one does not undo an alarm."""
    record, _ = machine.step(AlarmRecord(), active(name(0.0, 0.2)), 0.1, 0.2)
    record, changes = machine.step(record, active(name(0.0, 0.3, amber_s=0.3)), 0.2, 0.3)
    assert [c.event for c in changes] == [Event.RAISE]
    record, changes = machine.step(record, active(name(0.0, 0.4, amber_s=9.0)), 0.3, 0.4)
    assert record.raised
    assert not changes


class AlarmRules(RuleBasedStateMachine):
    """Any conditions and any acts of the crew, in any order."""

    def __init__(self) -> None:
        super().__init__()
        self.record = AlarmRecord()
        self.ticks = 0
        self.onset_s: float | None = None
        self.changes: list[Change] = []
        self.owed = False

    @property
    def now_s(self) -> float:
        return self.ticks * TICK_S

    def _step(self, evaluation: Evaluation) -> list[Change]:
        before = self.record
        start_s, self.ticks = self.now_s, self.ticks + 1
        self.record, changes = machine.step(before, evaluation, start_s, self.now_s)
        self.changes += changes
        events = {c.event for c in changes}
        if events & {Event.RAISE, Event.ESCALATE} and self.record.state not in HIDDEN:
            self.owed = True
        if not changes:
            assert self.record.state is before.state, "only a change may change the state"
        return changes

    @rule(ticks=st.integers(1, 25))
    def condition_holds(self, ticks: int) -> None:
        for _ in range(ticks):
            if self.onset_s is None:
                self.onset_s = self.now_s
            evaluation = active(name(self.onset_s, self.now_s + TICK_S))
            held_s = self.now_s + TICK_S - self.onset_s
            for change in self._step(evaluation):
                delay_s = AMBER_S if change.event is Event.RAISE else RED_S
                first = self.record.since_s
                assert change.at_s >= first + delay_s - 1e-6, "before its on-delay"
            assert self.record.raised or held_s < AMBER_S - 1e-6, "an alarm that was due is missing"

    @rule(ticks=st.integers(1, 12))
    def condition_clear(self, ticks: int) -> None:
        for _ in range(ticks):
            self.onset_s = None
            self._step(CLEAR)

    @rule(ticks=st.integers(1, 12))
    def condition_unknown(self, ticks: int) -> None:
        for _ in range(ticks):
            before = self.record
            self._step(UNKNOWN)
            assert self.record == before

    @rule()
    def acknowledge(self) -> None:
        before = self.record
        self.record = machine.apply(before, Event.ACKNOWLEDGE)
        if before.state is S.UNACKNOWLEDGED:
            assert self.record.state is S.ACKNOWLEDGED
        elif before.state is S.RETURNED:
            assert self.record.state is S.NORMAL
        else:
            assert self.record == before, "an acknowledgement where there is nothing to see"
        if before.state not in HIDDEN:
            self.owed = False

    @rule(event=st.sampled_from([Event.SHELVE, Event.SUPPRESS, Event.REMOVE]))
    def hide(self, event: Event) -> None:
        before = self.record
        self.record = machine.apply(before, event)
        assert self.record.state in HIDDEN
        self.owed = False

    @precondition(lambda self: self.record.state in HIDDEN)
    @rule()
    def release(self) -> None:
        self.record = machine.release(self.record)
        assert self.record.state is (S.UNACKNOWLEDGED if self.record.raised else S.NORMAL)
        self.owed = self.record.raised

    @invariant()
    def amber_before_red(self) -> None:
        if self.record.red_s is not None:
            assert self.record.amber_s is not None
            assert self.record.amber_s <= self.record.red_s

    @invariant()
    def each_begin_has_at_most_one_end(self) -> None:
        events = [c.event for c in self.changes if c.event is not Event.ESCALATE]
        pairs = [Event.RAISE, Event.CLEAR] * (len(events) // 2 + 1)
        assert events == pairs[: len(events)]
        assert self.record.raised is (len(events) % 2 == 1)

    @invariant()
    def what_the_crew_has_to_see_is_kept(self) -> None:
        unseen = self.record.state in (S.UNACKNOWLEDGED, S.RETURNED)
        assert unseen is self.owed

    @invariant()
    def in_order_of_time(self) -> None:
        times = [c.at_s for c in self.changes]
        assert times == sorted(times)


AlarmRules.TestCase.settings = settings(max_examples=60, stateful_step_count=30, deadline=None)
test_any_history = AlarmRules.TestCase
