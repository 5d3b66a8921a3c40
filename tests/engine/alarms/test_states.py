"""The table of alarm states.

Source: state names and their entries by ANSI/ISA-18.2-2016 and IEC 62682:2022, as public
summaries give them (the standards themselves were not read).
"""

from __future__ import annotations

import pytest

from engine.alarms.states import (
    HIDDEN,
    TRANSITIONS,
    Event,
    IllegalTransitionError,
    after,
    allows,
)
from engine.model.messages import AlarmState as S

STANDARD = [
    (S.NORMAL, Event.RAISE, S.UNACKNOWLEDGED),
    (S.UNACKNOWLEDGED, Event.ACKNOWLEDGE, S.ACKNOWLEDGED),
    (S.UNACKNOWLEDGED, Event.CLEAR, S.RETURNED),
    (S.ACKNOWLEDGED, Event.CLEAR, S.NORMAL),
    (S.RETURNED, Event.ACKNOWLEDGE, S.NORMAL),
    (S.RETURNED, Event.RAISE, S.UNACKNOWLEDGED),
    (S.UNACKNOWLEDGED, Event.SHELVE, S.SHELVED),
    (S.UNACKNOWLEDGED, Event.SUPPRESS, S.SUPPRESSED),
    (S.UNACKNOWLEDGED, Event.REMOVE, S.OUT_OF_SERVICE),
    (S.SHELVED, Event.RELEASE_ACTIVE, S.UNACKNOWLEDGED),
    (S.SHELVED, Event.RELEASE_CLEAR, S.NORMAL),
]


@pytest.mark.parametrize(("state", "event", "target"), STANDARD)
def test_the_standards_transitions(state: S, event: Event, target: S) -> None:
    """Each transition that the standards draw leads where they say."""
    assert after(state, event) is target


def test_every_state_has_its_row() -> None:
    """The table speaks of every state, and each can be reached and left."""
    assert set(TRANSITIONS) == set(S)
    reached = {target for row in TRANSITIONS.values() for target in row.values()}
    assert reached == set(S)


def test_an_illegal_event_raises_and_says_so() -> None:
    """An event that the table does not know raises an error naming event and state."""
    unknown = [(s, e) for s in S for e in Event if e not in TRANSITIONS[s]]
    assert unknown
    for state, event in unknown:
        assert not allows(state, event)
        with pytest.raises(IllegalTransitionError, match=f"{event.name} can't happen while"):
            after(state, event)


def test_red_after_amber_was_seen_is_unseen() -> None:
    """An acknowledged amber that goes red has to be acknowledged again."""
    assert after(S.ACKNOWLEDGED, Event.ESCALATE) is S.UNACKNOWLEDGED


@pytest.mark.parametrize("state", sorted(HIDDEN))
def test_a_hidden_alarm_stays_hidden(state: S) -> None:
    """Whatever its condition does, an alarm that is hidden stays so until it is released."""
    for event in (Event.RAISE, Event.ESCALATE, Event.CLEAR):
        assert after(state, event) is state


def test_out_of_service_outlasts_all_but_the_crew() -> None:
    """A track out of service can be neither shelved nor suppressed out of that state."""
    assert not allows(S.OUT_OF_SERVICE, Event.SHELVE)
    assert not allows(S.OUT_OF_SERVICE, Event.SUPPRESS)
