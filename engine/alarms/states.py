"""The alarm states and the tables of transitions between them; nothing else decides one.

An alarm is in two states at once. Its condition runs through the `Phase`s: pending while the
on-delay runs, active, clearing while the off-delay runs. What the operator has to see of it is the
`AlarmState`. They are apart because any alarm state can go with any phase: an alarm that is
shelved, or has returned and was not yet acknowledged, may be pending again.

Source: ANSI/ISA-18.2-2016 and IEC 62682:2022, state names as public summaries give them (the
standards were not read); the delays are those of OPC UA Part 9, annex B.1.5. Returned to normal
stays until it is acknowledged; shelved, suppressed and out of service hide an alarm while its
condition is still watched, so a release needs to know the phase.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from engine.model.messages import AlarmState

S = AlarmState


class Phase(StrEnum):
    """Where the condition of an alarm stands against its two delays."""

    CLEAR = "clear"
    PENDING = "pending"
    ACTIVE = "active"
    CLEARING = "clearing"


class Event(StrEnum):
    """What can happen to an alarm."""

    APPEAR = "condition true"
    LAPSE = "condition gone before its on-delay was over"
    FADE = "condition gone, its off-delay begins"
    RAISE = "condition true after its on-delay"
    ESCALATE = "amber becomes red"
    CLEAR = "condition gone for its off-delay"
    ACKNOWLEDGE = "the crew has seen it"
    UNACKNOWLEDGE = "the crew had called it seen by mistake"
    SHELVE = "hidden by the crew, with or without an end"
    SUPPRESS = "hidden by design: standby, or part of a receiver's alarm"
    RETURN_UNSEEN = "over while suppressed, a red that nobody had seen before"
    REMOVE = "taken out of service"
    RELEASE_ACTIVE = "no longer hidden, condition true"
    RELEASE_CLEAR = "no longer hidden, condition gone"


class IllegalTransitionError(Exception):
    """That event can't happen in that state; the state is left as it was."""


_HIDE: Final = {
    Event.SHELVE: S.SHELVED,
    Event.SUPPRESS: S.SUPPRESSED,
    Event.REMOVE: S.OUT_OF_SERVICE,
}


def _hidden(state: AlarmState) -> dict[Event, AlarmState]:
    stays = dict.fromkeys((Event.RAISE, Event.ESCALATE, Event.CLEAR), state)
    return {**stays, Event.RELEASE_ACTIVE: S.UNACKNOWLEDGED, Event.RELEASE_CLEAR: S.NORMAL}


PHASES: Final = MappingProxyType(
    {
        Phase.CLEAR: {Event.APPEAR: Phase.PENDING},
        Phase.PENDING: {Event.LAPSE: Phase.CLEAR, Event.RAISE: Phase.ACTIVE},
        Phase.ACTIVE: {Event.ESCALATE: Phase.ACTIVE, Event.FADE: Phase.CLEARING},
        Phase.CLEARING: {Event.APPEAR: Phase.ACTIVE, Event.CLEAR: Phase.CLEAR},
    }
)
"""How a condition goes through its phases."""

TRANSITIONS: Final = MappingProxyType(
    {
        S.NORMAL: {Event.RAISE: S.UNACKNOWLEDGED, Event.UNACKNOWLEDGE: S.RETURNED, **_HIDE},
        S.UNACKNOWLEDGED: {
            Event.ESCALATE: S.UNACKNOWLEDGED,
            Event.CLEAR: S.RETURNED,
            Event.ACKNOWLEDGE: S.ACKNOWLEDGED,
            **_HIDE,
        },
        S.ACKNOWLEDGED: {
            Event.ESCALATE: S.UNACKNOWLEDGED,
            Event.UNACKNOWLEDGE: S.UNACKNOWLEDGED,
            Event.CLEAR: S.NORMAL,
            **_HIDE,
        },
        S.RETURNED: {Event.RAISE: S.UNACKNOWLEDGED, Event.ACKNOWLEDGE: S.NORMAL, **_HIDE},
        S.SHELVED: {
            **_hidden(S.SHELVED),
            Event.SHELVE: S.SHELVED,
            Event.REMOVE: S.OUT_OF_SERVICE,
        },
        S.SUPPRESSED: {
            **_hidden(S.SUPPRESSED),
            Event.RETURN_UNSEEN: S.RETURNED,
            Event.SHELVE: S.SHELVED,
            Event.REMOVE: S.OUT_OF_SERVICE,
        },
        S.OUT_OF_SERVICE: _hidden(S.OUT_OF_SERVICE),
    }
)
"""How the alarm state follows what happens; an event of the phases alone leaves it as it is."""


def after(state: AlarmState, event: Event) -> AlarmState:
    """The state that follows; IllegalTransitionError where the table has none."""
    try:
        return TRANSITIONS[state][event]
    except KeyError:
        raise IllegalTransitionError(f"{event.name} can't happen while {state.value}") from None


def next_phase(phase: Phase, event: Event) -> Phase:
    """The phase that follows; IllegalTransitionError where the table has none."""
    try:
        return PHASES[phase][event]
    except KeyError:
        raise IllegalTransitionError(f"{event.name} can't happen while {phase.value}") from None


def allows(state: AlarmState, event: Event) -> bool:
    """True where the table knows that event in that state."""
    return event in TRANSITIONS[state]


HIDDEN: Final = frozenset({S.SHELVED, S.SUPPRESSED, S.OUT_OF_SERVICE})
"""States in which an alarm neither chimes nor stands in the list of what to fix."""


def diagram() -> str:
    """The table of alarm states as Markdown, for the contract."""
    return _markdown("state", TRANSITIONS)


def phase_diagram() -> str:
    """The table of phases as Markdown, for the contract."""
    return _markdown("phase", PHASES)


def _markdown(
    what: str, table: Mapping[S, Mapping[Event, S]] | Mapping[Phase, Mapping[Event, Phase]]
) -> str:
    lines = [f"| {what} | event | next {what} |", "| --- | --- | --- |"]
    lines += [
        f"| {before.value} | {event.name.lower().replace('_', ' ')} | {target.value} |"
        for before, row in table.items()
        for event, target in row.items()
    ]
    return "\n".join(lines)
