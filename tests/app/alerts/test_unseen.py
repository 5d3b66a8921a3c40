"""Which alarms the desktop is told of."""

from __future__ import annotations

from dataclasses import replace

from app.alerts.unseen import UnseenAlarms
from app.models.fix_cards import cards
from engine.model.messages import AlarmState, Severity
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
LISTED = cards(PLAN, fake_client.snapshot(PLAN, fake_client.tower_alarms()))
RED, AMBER = LISTED[0], LISTED[2]


def test_no_amber_takes_the_place_of_a_red() -> None:
    """An amber that comes later is named beside the red that still waits."""
    unseen = UnseenAlarms()
    assert unseen.news([RED]) == (RED, [])
    assert unseen.news([RED, AMBER]) == (RED, [AMBER])
    assert unseen.news([RED, AMBER]) is None


def test_worse_is_news_and_seen_is_not() -> None:
    """What grows worse is shown again; once all is seen nothing waits."""
    unseen = UnseenAlarms()
    assert unseen.news([AMBER]) == (AMBER, [])
    worse = replace(AMBER, severity=Severity.RED)
    assert unseen.news([worse]) == (worse, [])
    assert unseen.waits
    assert unseen.news([replace(worse, state=AlarmState.ACKNOWLEDGED)]) is None
    assert not unseen.waits
