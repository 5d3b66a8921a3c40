"""The list as widgets: order, choice, buttons."""

from __future__ import annotations

from dataclasses import replace

import pytest
from pytestqt.qtbot import QtBot

from app.models.alarm_card import Card
from app.models.fix_cards import cards
from app.style.theme import NIGHT
from app.views.fix_list import ROOMY, FixList
from engine.model.messages import AlarmState
from tests.support.qt import fake_client

PLAN = fake_client.tower_plan()
CARDS = cards(PLAN, fake_client.snapshot(PLAN, fake_client.tower_alarms()))
MASON, BOOM, RIGGER, SIGNALLER = CARDS
SEEN = AlarmState.ACKNOWLEDGED


@pytest.fixture
def shown(qtbot: QtBot) -> FixList:
    """An empty list on the screen."""
    made = FixList()
    qtbot.addWidget(made)
    made.resize(380, 824)
    made.set_look(NIGHT, 1.0)
    made.show()
    return made


def test_nothing_to_fix_is_said(shown: FixList) -> None:
    """An empty list says so; a card takes that line away."""
    assert shown.nothing.isVisible()
    shown.put([BOOM])
    assert not shown.nothing.isVisible()


def test_the_choice_follows_what_is_urgent(shown: FixList) -> None:
    """Until someone chooses, the choice leaves what is back for what is new and unseen."""
    shown.put([SIGNALLER])
    shown.put([RIGGER, SIGNALLER])
    assert shown.current == RIGGER


def test_the_choice_never_leaves_an_unseen_card(shown: FixList) -> None:
    """A more urgent card that comes in does not slide under a key meant for another."""
    shown.put([RIGGER])
    shown.put([MASON, RIGGER])
    assert shown.current == RIGGER


def test_the_choice_moves_on_once_seen(shown: FixList) -> None:
    """When the chosen card is acknowledged the next unseen one is chosen."""
    shown.put([MASON, RIGGER])
    shown.put([replace(MASON, state=SEEN), RIGGER])
    assert shown.current == RIGGER


def test_a_choice_by_hand_stays(shown: FixList) -> None:
    """A card chosen by hand stays chosen, though it needs no answer."""
    shown.put(CARDS)
    shown.choose(SIGNALLER.key)
    shown.put([replace(c, time="0:59") for c in CARDS])
    assert shown.current is not None
    assert shown.current.key == SIGNALLER.key


def test_a_gone_card_frees_the_choice(shown: FixList) -> None:
    """When the chosen card is gone the most urgent unseen one is chosen."""
    shown.put(CARDS)
    shown.choose(SIGNALLER.key)
    shown.put([BOOM, RIGGER])
    assert shown.current == RIGGER


def test_buttons_fit_the_state(shown: FixList) -> None:
    """Seen only where unseen; shelve only what stands; what is back can only be seen."""
    shown.put(CARDS)
    views = [shown._views[c.key] for c in CARDS]
    assert [v.see.isVisibleTo(v) for v in views] == [True, False, True, True]
    assert [v.shelve.isVisibleTo(v) for v in views] == [True, True, True, False]


def test_many_cards_are_short(shown: FixList) -> None:
    """Beyond a handful only the chosen card shows all it has to say."""
    many: list[Card] = [replace(RIGGER, key=(-n,)) for n in range(1, ROOMY + 3)]
    shown.put(many)
    full = [v.check.isVisibleTo(v) for v in (shown._views[c.key] for c in many)]
    assert full == [True] + [False] * (len(many) - 1)


def test_the_same_again_changes_nothing(shown: FixList) -> None:
    """Cards that stay keep their widgets; those that go are let go."""
    shown.put(CARDS)
    before = dict(shown._views)
    shown.put([replace(c, time="9:99") for c in CARDS[:3]])
    assert all(shown._views[c.key] is before[c.key] for c in CARDS[:3])
    assert SIGNALLER.key not in shown._views


def test_cards_are_told_in_words(shown: FixList) -> None:
    """A screen reader hears title, time, what, where and what to check."""
    shown.put(CARDS)
    words = shown._views[MASON.key].accessibleName()
    assert MASON.title in words
    assert MASON.check in words
