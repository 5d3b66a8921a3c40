"""One alarm through time: `step` takes how its condition stands, and the time; pure.

Two delays as in OPC UA Part 9 B.1.5: a condition must hold for the on-delay before the alarm is
raised, and be gone for the off-delay before it ends. Amber comes before red; each has a due time.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

from engine.alarms.states import Event, after, allows
from engine.model.limits import NEVER
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

    `names` holds the active faults of its family, best name first; `off_s` is the off-delay.
    """

    state: State
    names: tuple[ActiveFault, ...] = ()
    off_s: float = 0.0


@dataclass(frozen=True, slots=True)
class AlarmRecord:
    """All that one alarm remembers. `fault` is None while nothing is going on.

    `since_s` and `until_s` are where the fault began and was last seen; `named_until_s` is until
    when it was seen under its present name. `clearing`: the condition is gone, but not yet for
    its off-delay. `raises_s` are the last few times within a minute at which it was raised.
    """

    state: AlarmState = AlarmState.NORMAL
    fault: Fault | None = None
    since_s: float = 0.0
    until_s: float = 0.0
    rank: int = 0
    named_until_s: float = 0.0
    clearing: bool = False
    amber_due_s: float = NEVER
    red_due_s: float = NEVER
    amber_s: float | None = None
    red_s: float | None = None
    raises_s: tuple[float, ...] = ()

    @property
    def raised(self) -> bool:
        """The condition outlasted its on-delay and has not ended."""
        return self.amber_s is not None

    @property
    def severity(self) -> Severity:
        """The priority reached."""
        return Severity.AMBER if self.red_s is None else Severity.RED

    @property
    def idle(self) -> bool:
        """Nothing to follow: no condition, and nothing the crew set or has still to see."""
        return self.fault is None and self.state is AlarmState.NORMAL

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
    core: AlarmRecord, reading: Evaluation, start_s: float, now_s: float
) -> tuple[AlarmRecord, list[Change]]:
    """The alarm after the tick from `start_s` to `now_s`, and what happened to it, in order.

    An unknown reading holds everything as it is: lost audio is no proof of either.
    """
    if reading.state is State.UNKNOWN:
        return core, []
    core = _forget_raises(core, now_s)
    if reading.state is State.CLEAR:
        return _gone(core, reading, now_s)
    core = _take_in(core, reading)
    changes: list[Change] = []
    if not core.raised and core.is_due(core.amber_due_s):
        at_s = _stamp(core.amber_due_s, core.since_s, start_s, now_s)
        core = _announce(core, Event.RAISE, at_s)
        changes.append(Change(Event.RAISE, at_s))
    may_be_red = core.raised and any(name.may_be_red for name in reading.names)
    if may_be_red and core.red_s is None and core.is_due(core.red_due_s):
        at_s = _stamp(core.red_due_s, core.since_s, start_s, now_s)
        core = _announce(core, Event.ESCALATE, at_s)
        changes.append(Change(Event.ESCALATE, at_s))
    return core, changes


def _forget_raises(core: AlarmRecord, now_s: float) -> AlarmRecord:
    if not core.raises_s or core.raises_s[0] >= now_s - CHATTER_WINDOW_S:
        return core
    kept = tuple(at_s for at_s in core.raises_s if at_s >= now_s - CHATTER_WINDOW_S)
    return replace(core, raises_s=kept)


def _take_in(core: AlarmRecord, reading: Evaluation) -> AlarmRecord:
    onset_s = min(name.onset_s for name in reading.names)
    if core.fault is not None and not core.raised and onset_s > core.until_s + _EPS_S:
        core = rest(core)  # a gap while pending, though inside one tick: the wait starts again
    amber_due_s = min(name.amber_due_s for name in reading.names)
    red_due_s = min(name.red_due_s for name in reading.names)
    if core.fault is not None:  # the same loss goes on: onset stays, the earliest deadline counts
        onset_s = min(onset_s, core.since_s)
        amber_due_s = min(amber_due_s, core.amber_due_s)
        red_due_s = min(red_due_s, core.red_due_s)
    fault, rank, named_until_s = _named(core, reading)
    return replace(
        core,
        fault=fault,
        rank=rank,
        named_until_s=named_until_s,
        clearing=False,
        since_s=onset_s,
        until_s=max(name.last_s for name in reading.names),
        amber_due_s=amber_due_s,
        red_due_s=max(red_due_s, amber_due_s),
    )


def _named(core: AlarmRecord, reading: Evaluation) -> tuple[Fault, int, float]:
    """Name, rank, and until when it was seen: told anew when more is known, never less.

    A raised alarm keeps a name that tells more until that fault is gone for the off-delay: while
    a muted track comes back, it is for a moment no more than silent.
    """
    best = reading.names[0]
    gone_s = best.last_s - core.named_until_s
    keeps = core.raised and best.rank < core.rank and gone_s < reading.off_s - _EPS_S
    if keeps and core.fault is not None:
        return core.fault, core.rank, core.named_until_s
    return best.fault, best.rank, best.last_s


def _stamp(due_s: float, onset_s: float, start_s: float, now_s: float) -> float:
    """When the alarm was raised: at its due time if that lies in this tick, else only now."""
    delayed = due_s > onset_s + _EPS_S
    return due_s if delayed and start_s - _EPS_S <= due_s <= now_s else now_s


def _announce(core: AlarmRecord, event: Event, at_s: float) -> AlarmRecord:
    state = after(core.state, event) if allows(core.state, event) else core.state
    if event is Event.RAISE:
        raises_s = (*core.raises_s, at_s)[-CHATTER_RAISES:]
        return replace(core, state=state, amber_s=at_s, raises_s=raises_s)
    return replace(core, state=state, red_s=at_s)


def _gone(core: AlarmRecord, reading: Evaluation, now_s: float) -> tuple[AlarmRecord, list[Change]]:
    if core.fault is None:
        return core, []
    if not core.raised:  # a gap while pending starts the wait again
        return rest(core), []
    if now_s - core.until_s < reading.off_s - _EPS_S:
        return replace(core, clearing=True), []
    return replace(rest(core), state=after(core.state, Event.CLEAR)), [Change(Event.CLEAR, now_s)]


def rest(core: AlarmRecord) -> AlarmRecord:
    """The alarm with no condition going on; what the crew set, and its raises, are kept."""
    return AlarmRecord(state=core.state, raises_s=core.raises_s)


def hide(core: AlarmRecord, event: Event) -> AlarmRecord:
    """Shelved, suppressed or taken out of service; unchanged where the table has no such step."""
    return replace(core, state=after(core.state, event)) if allows(core.state, event) else core


def release(core: AlarmRecord) -> AlarmRecord:
    """No longer hidden: unacknowledged if its condition stands, else normal."""
    event = Event.RELEASE_ACTIVE if core.raised else Event.RELEASE_CLEAR
    return replace(core, state=after(core.state, event)) if allows(core.state, event) else core


def acknowledge(core: AlarmRecord) -> AlarmRecord:
    """Seen by the crew; unchanged where there is nothing to see."""
    return hide(core, Event.ACKNOWLEDGE)
