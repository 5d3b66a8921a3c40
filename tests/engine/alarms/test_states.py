"""The table of alarm states.

Source: state names and their entries by ANSI/ISA-18.2-2016 and IEC 62682:2022, as public
summaries give them (the standards themselves were not read).
"""

from __future__ import annotations

import pytest

from engine.alarms.states import (
    HIDDEN,
    PHASES,
    TRANSITIONS,
    Event,
    IllegalTransitionError,
    Phase,
    after,
    allows,
    next_phase,
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


DELAYS = [
    (Phase.CLEAR, Event.APPEAR, Phase.PENDING),
    (Phase.PENDING, Event.LAPSE, Phase.CLEAR),
    (Phase.PENDING, Event.RAISE, Phase.ACTIVE),
    (Phase.ACTIVE, Event.FADE, Phase.CLEARING),
    (Phase.CLEARING, Event.APPEAR, Phase.ACTIVE),
    (Phase.CLEARING, Event.CLEAR, Phase.CLEAR),
]


@pytest.mark.parametrize(("phase", "event", "target"), DELAYS)
def test_the_phases_follow_both_delays(phase: Phase, event: Event, target: Phase) -> None:
    """Pending and clearing last as long as the two delays do (OPC UA Part 9, B.1.5)."""
    assert next_phase(phase, event) is target


def test_nothing_but_a_raise_leads_from_pending_to_active() -> None:
    """An alarm is never active without having been raised, and nobody's act changes a phase."""
    assert [e for e, to in PHASES[Phase.PENDING].items() if to is Phase.ACTIVE] == [Event.RAISE]
    acts = (Event.ACKNOWLEDGE, Event.UNACKNOWLEDGE, Event.SHELVE, Event.SUPPRESS, Event.REMOVE)
    for phase in Phase:
        for event in acts:
            with pytest.raises(IllegalTransitionError, match="can't happen while"):
                next_phase(phase, event)


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
