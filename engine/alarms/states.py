"""The alarm states and the one table of transitions between them; nothing else decides one.

Source: ANSI/ISA-18.2-2016 and IEC 62682:2022, state names A to I (letters partly from memory).
Returned-to-normal is kept until it was acknowledged; shelved, suppressed and out of service hide
an alarm without ending the watch on its condition, so the release needs to know how it stands.
"""

from __future__ import annotations

from enum import StrEnum
from types import MappingProxyType
from typing import Final

from engine.model.messages import AlarmState

S = AlarmState


class Event(StrEnum):
    """What can happen to an alarm."""

    RAISE = "condition true after its on-delay"
    ESCALATE = "amber becomes red"
    CLEAR = "condition gone for its off-delay"
    ACKNOWLEDGE = "the crew has seen it"
    UNACKNOWLEDGE = "the crew had called it seen by mistake"
    SHELVE = "hidden by the crew, with or without an end"
    SUPPRESS = "hidden by design: standby, or part of a receiver's alarm"
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


TRANSITIONS: Final = MappingProxyType(
    {
        S.NORMAL: {Event.RAISE: S.UNACKNOWLEDGED, **_HIDE},
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
            Event.SHELVE: S.SHELVED,
            Event.REMOVE: S.OUT_OF_SERVICE,
        },
        S.OUT_OF_SERVICE: _hidden(S.OUT_OF_SERVICE),
    }
)


def after(state: AlarmState, event: Event) -> AlarmState:
    """The state that follows; IllegalTransitionError where the table has none."""
    try:
        return TRANSITIONS[state][event]
    except KeyError:
        raise IllegalTransitionError(f"{event.name} can't happen while {state.value}") from None


def allows(state: AlarmState, event: Event) -> bool:
    """True where the table knows that event in that state."""
    return event in TRANSITIONS[state]


HIDDEN: Final = frozenset({S.SHELVED, S.SUPPRESSED, S.OUT_OF_SERVICE})
"""States in which an alarm neither chimes nor stands in the list of what to fix."""


def diagram() -> str:
    """The table as Markdown, for the developers' manual."""
    lines = ["| state | event | next state |", "| --- | --- | --- |"]
    lines += [
        f"| {state.value} | {event.name.lower().replace('_', ' ')} | {target.value} |"
        for state, row in TRANSITIONS.items()
        for event, target in row.items()
    ]
    return "\n".join(lines)
