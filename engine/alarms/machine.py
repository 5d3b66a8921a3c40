"""One alarm through time: `step` takes how its condition stands, and the time; pure.

Two delays as in OPC UA Part 9 B.1.5: a condition must hold for the on-delay before the alarm is
raised, and be gone for the off-delay before it ends. Amber comes before red; each has a due time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

from engine.alarms.states import Event, Phase, after, allows, next_phase
from engine.model.alarm_limits import NEVER
from engine.model.messages import AlarmState, Fault, Severity, State

CHATTER_RAISES: Final = 3
CHATTER_WINDOW_S: Final = 60.0
"""Chattering: three or more occurrences in one minute (ISA-18.2-2016)."""

_EPS_S: Final = 1e-6
"""Times are sums of hops; a microsecond is far under one sample of any rate."""


@dataclass(frozen=True, slots=True)
class ActiveFault:
    """One fault that is active now, with the times at which it is due.

    onset_s, last_s : where it began, until when it was seen
    amber_due_s, red_due_s : when its on-delays are over; `NEVER` where it can't be that severe
    may_be_red : it deserves red now, once that is due
    rank : of one family, the higher rank tells more
    """

    fault: Fault
    onset_s: float
    last_s: float
    amber_due_s: float
    red_due_s: float
    may_be_red: bool = True
    rank: int = 0


@dataclass(frozen=True, slots=True)
class Evaluation:
    """How the condition of one alarm stands at the end of a tick.

    `faults` holds the active faults of its family, the one that tells most first; `off_s` is the
    off-delay.
    """

    state: State
    faults: tuple[ActiveFault, ...] = ()
    off_s: float = 0.0


@dataclass(frozen=True, slots=True)
class AlarmRecord:
    """All that one alarm remembers: its state, its condition's phase, and the times of both.

    `fault`, and all times but `raises_s`, belong to the condition that goes on now and are at
    their defaults while the phase is clear. `since_s` and `until_s` are where the fault began and
    was last seen; `named_since_s` and `named_until_s` are the same of its present name. `raises_s`
    are the last few times within a minute at which the alarm was raised.
    """

    state: AlarmState = AlarmState.NORMAL
    phase: Phase = Phase.CLEAR
    fault: Fault | None = None
    since_s: float = 0.0
    until_s: float = 0.0
    rank: int = 0
    named_since_s: float = 0.0
    named_until_s: float = 0.0
    amber_due_s: float = NEVER
    red_due_s: float = NEVER
    amber_s: float | None = None
    red_s: float | None = None
    raises_s: tuple[float, ...] = ()

    @property
    def raised(self) -> bool:
        """The condition outlasted its on-delay and has not ended."""
        return self.phase in (Phase.ACTIVE, Phase.CLEARING)

    @property
    def severity(self) -> Severity:
        """The priority reached."""
        return Severity.AMBER if self.red_s is None else Severity.RED

    @property
    def idle(self) -> bool:
        """Nothing to follow: no condition, and nothing the crew set or has still to see."""
        return self.phase is Phase.CLEAR and self.state is AlarmState.NORMAL

    def is_due(self, due_s: float) -> bool:
        """The fault was seen until that time or longer."""
        return due_s < NEVER and self.until_s >= due_s - _EPS_S

    @property
    def unstable(self) -> bool:
        """Chattering: raised three times or more within the last minute."""
        return len(self.raises_s) == CHATTER_RAISES


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that happened to the alarm at `at_s`."""

    event: Event
    at_s: float


def step(
    record: AlarmRecord, evaluation: Evaluation, start_s: float, now_s: float
) -> tuple[AlarmRecord, list[Change]]:
    """The alarm after the tick from `start_s` to `now_s`, and what happened to it, in order.

    An unknown evaluation holds everything as it is: lost audio is no proof of either.
    """
    if evaluation.state is State.UNKNOWN:
        return record, []
    record = _forget_raises(record, now_s)
    if evaluation.state is State.CLEAR:
        return _without_condition(record, evaluation, now_s)
    record = _with_condition(record, evaluation)
    changes: list[Change] = []
    if record.phase is Phase.PENDING and record.is_due(record.amber_due_s):
        at_s = _stamp(record.amber_due_s, record.since_s, start_s, now_s)
        record = _raise(record, at_s)
        changes.append(Change(Event.RAISE, at_s))
    may_be_red = record.raised and any(fault.may_be_red for fault in evaluation.faults)
    if may_be_red and record.red_s is None and record.is_due(record.red_due_s):
        at_s = _stamp(record.red_due_s, record.since_s, start_s, now_s)
        record = replace(_happen(record, Event.ESCALATE), red_s=at_s)
        changes.append(Change(Event.ESCALATE, at_s))
    return record, changes


def apply(record: AlarmRecord, event: Event) -> AlarmRecord:
    """The alarm after an act of the crew or of a rule; unchanged where the table has no such step.

    The phase is not touched: nobody's act makes a condition true or false.
    """
    return (
        replace(record, state=after(record.state, event)) if allows(record.state, event) else record
    )


def release(record: AlarmRecord) -> AlarmRecord:
    """No longer hidden: unacknowledged if its condition stands, else normal."""
    return apply(record, Event.RELEASE_ACTIVE if record.raised else Event.RELEASE_CLEAR)


def _happen(record: AlarmRecord, event: Event) -> AlarmRecord:
    """The alarm after something happened to its condition: phase and, where it follows, state."""
    return replace(apply(record, event), phase=next_phase(record.phase, event))


def _forget_raises(record: AlarmRecord, now_s: float) -> AlarmRecord:
    if not record.raises_s or record.raises_s[0] >= now_s - CHATTER_WINDOW_S:
        return record
    recent = tuple(at_s for at_s in record.raises_s if at_s >= now_s - CHATTER_WINDOW_S)
    return replace(record, raises_s=recent)


def _with_condition(record: AlarmRecord, evaluation: Evaluation) -> AlarmRecord:
    """The condition is true: it appears, goes on, or returns within the off-delay."""
    faults = evaluation.faults
    onset_s = min(fault.onset_s for fault in faults)
    amber_due_s = min(fault.amber_due_s for fault in faults)
    red_due_s = min(fault.red_due_s for fault in faults)
    if record.phase is Phase.PENDING and onset_s > record.until_s + _EPS_S:
        record = _end(record, Event.LAPSE)  # a gap, though inside one tick: the wait starts again
    if record.phase is not Phase.CLEAR:  # one loss: onset stays, the earliest deadline counts
        onset_s = min(onset_s, record.since_s)
        amber_due_s = min(amber_due_s, record.amber_due_s)
        red_due_s = min(red_due_s, record.red_due_s)
    name = _name(record, evaluation)
    if record.phase in (Phase.CLEAR, Phase.CLEARING):
        record = _happen(record, Event.APPEAR)
    return replace(
        record,
        **name,
        since_s=onset_s,
        until_s=max(fault.last_s for fault in faults),
        amber_due_s=amber_due_s,
        red_due_s=max(red_due_s, amber_due_s),
    )


def _name(record: AlarmRecord, evaluation: Evaluation) -> dict[str, Any]:
    """What of the alarm changes under its best name: renamed when more is known, never when less.

    A raised alarm keeps a name that tells more until that fault is gone for the off-delay: while
    a muted track comes back, it is for a moment no more than silent.
    """
    best = evaluation.faults[0]
    gone_s = best.last_s - record.named_until_s
    keeps = record.raised and best.rank < record.rank and gone_s < evaluation.off_s - _EPS_S
    if keeps and record.fault is not None:
        return {}
    same = record.fault is best.fault
    return {
        "fault": best.fault,
        "rank": best.rank,
        "named_since_s": min(record.named_since_s, best.onset_s) if same else best.onset_s,
        "named_until_s": best.last_s,
    }


def _stamp(due_s: float, onset_s: float, start_s: float, now_s: float) -> float:
    """When the alarm was raised: at its due time if that lies in this tick, else only now."""
    delayed = due_s > onset_s + _EPS_S
    return due_s if delayed and start_s - _EPS_S <= due_s <= now_s else now_s


def _raise(record: AlarmRecord, at_s: float) -> AlarmRecord:
    raises_s = (*record.raises_s, at_s)[-CHATTER_RAISES:]
    return replace(_happen(record, Event.RAISE), amber_s=at_s, raises_s=raises_s)


def _without_condition(
    record: AlarmRecord, evaluation: Evaluation, now_s: float
) -> tuple[AlarmRecord, list[Change]]:
    """The condition is gone: a pending one lapses, a raised one waits for its off-delay."""
    if record.phase is Phase.PENDING:
        return _end(record, Event.LAPSE), []
    if record.phase is Phase.ACTIVE:
        record = _happen(record, Event.FADE)
    if record.phase is Phase.CLEAR or now_s - record.until_s < evaluation.off_s - _EPS_S:
        return record, []
    return _end(record, Event.CLEAR), [Change(Event.CLEAR, now_s)]


def _end(record: AlarmRecord, event: Event) -> AlarmRecord:
    """Without its condition; what the crew set, and the alarm's raises, stay."""
    ended = _happen(record, event)
    return AlarmRecord(state=ended.state, phase=ended.phase, raises_s=ended.raises_s)
