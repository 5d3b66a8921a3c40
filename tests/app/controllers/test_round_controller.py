"""Rounds from the window: what keys ask the watch, what the bar shows; signs and pickups beside."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app.views.listen_bar import Caution
from app.views.signs_list import SHAPE
from app.views.widgets.prompt import Prompt
from engine.model.commands import (
    EndRound,
    ListenDevice,
    RoundBack,
    RoundNext,
    RoundSay,
    RoundStay,
    StartRound,
)
from engine.model.early_signs import EarlySign, SignKind
from engine.model.pickups import Pickup
from engine.model.round_state import Heard, RoundState
from tests.app.controllers.test_headphones import Deck
from tests.support.qt import fake_client

SHIFT = Qt.KeyboardModifier.ShiftModifier
RUNNING = RoundState(3, 5.0, due=(4, 5), heard=(Heard(2, 0.0, fake_client.NOW_S - 240.0),))


class Cart(Deck):
    """The window on the tower plan; a test sets what the watch says beside its alarms."""

    def __init__(self, folder: Path, qtbot: QtBot) -> None:
        self.beside: dict[str, object] = {}
        super().__init__(folder, qtbot)

    def snapshot(self, call: int) -> object:
        """The present."""
        now_s = fake_client.NOW_S + call
        shot = fake_client.snapshot(self.plan, fake_client.tower_alarms(), now_s)
        return replace(shot, **self.beside)

    def show(self, **beside: object) -> None:
        """One more snapshot, with these from now on."""
        self.beside.update(beside)
        self.look()


@pytest.fixture
def cart(tmp_path: Path, qtbot: QtBot) -> Cart:
    """With the caution read long ago."""
    return Cart(tmp_path, qtbot)


def test_e_starts_a_round_after_the_caution(cart: Cart, qtbot: QtBot) -> None:
    """The first listening of a watch is preceded by the caution, in a round too."""
    cart.window.headphones.cautioned = False
    assert cart.press(qtbot, Qt.Key.Key_E) == []
    caution = cart.window.layer.current
    assert isinstance(caution, Caution)
    caution.yes.click()
    assert cart.client.sent == [ListenDevice(""), StartRound(8.0, interrupt=True)]


def test_the_settings_say_how_long_and_whether_reds_interrupt(cart: Cart, qtbot: QtBot) -> None:
    """What is set there is asked for."""
    choices = cart.window.prefs.choices
    cart.window.prefs.choices = replace(choices, round_s=12.0, round_red=0.0)
    assert cart.press(qtbot, Qt.Key.Key_E)[-1] == StartRound(12.0, interrupt=False)


def test_each_key_of_a_running_round(cart: Cart, qtbot: QtBot) -> None:
    """Next, back, stay, sounds right, doubt, end."""
    cart.show(round=RUNNING)
    assert cart.press(qtbot, Qt.Key.Key_E) == [RoundNext()]
    assert cart.press(qtbot, Qt.Key.Key_E, SHIFT) == [RoundBack()]
    assert cart.press(qtbot, Qt.Key.Key_Z) == [RoundStay()]
    assert cart.press(qtbot, Qt.Key.Key_Y) == [RoundSay(right=True)]
    assert cart.press(qtbot, Qt.Key.Key_D) == [RoundSay(right=False)]
    assert cart.press(qtbot, Qt.Key.Key_Q) == [EndRound()]


def test_a_doubt_may_have_a_word(cart: Cart, qtbot: QtBot) -> None:
    """Shift+D asks for it."""
    cart.show(round=RUNNING)
    assert cart.press(qtbot, Qt.Key.Key_D, SHIFT) == []
    prompt = cart.window.layer.current
    assert isinstance(prompt, Prompt)
    prompt.edits[0].setText("rustle")
    prompt.accept()
    assert cart.client.sent == [RoundSay(right=False, word="rustle")]


def test_the_bar_is_there_while_a_round_runs(cart: Cart) -> None:
    """One large line: number, name, how long still; it goes with the round."""
    bar = cart.window.watch_page.round_bar
    assert bar.isHidden()
    cart.show(round=RUNNING)
    assert not bar.isHidden()
    assert bar.title.text().startswith("3  ")
    assert bar.left.text() == "5 s"
    cart.show(round=RoundState())
    assert bar.isHidden()


def test_without_a_round_its_keys_say_how_to_start_one(cart: Cart, qtbot: QtBot) -> None:
    """Nothing is asked of the watch."""
    assert cart.press(qtbot, Qt.Key.Key_Y) == []
    assert "E starts a round" in cart.window.watch_page.footer.notice.text()


def test_the_board_says_when_a_track_was_heard(cart: Cart) -> None:
    """On a healthy row, in minutes."""
    cart.show(round=RUNNING)
    state = cart.window.watch_page.board.scene.states[1]
    assert state.note.endswith("heard 4 min ago")


def test_signs_stand_under_the_list_and_go(cart: Cart) -> None:
    """At most three lines, none while there is no sign; no card is made of one."""
    signs = cart.window.watch_page.fix_list.signs
    assert signs.isHidden()
    cards = len(cart.window.watch_page.cards)
    sign = EarlySign(1, SignKind.HUM, (5,), 60.0, 1.0, 9.0, (None, 1.0, 9.0))
    cart.show(signs=(sign, replace(sign, id=2, tracks=(6,))))
    assert not signs.isHidden()
    assert [not row.isHidden() for row in signs.rows] == [True, True, False]
    assert signs.rows[0].title.text().startswith(f"{SHAPE} 5 ")
    assert len(cart.window.watch_page.cards) == cards
    cart.show(signs=())
    assert signs.isHidden()


def test_who_is_lost_is_said_to_be_heard_elsewhere(cart: Cart) -> None:
    """The card of a performer without a backup names the track that heard them, and the board."""
    lost = next(c for c in cart.window.watch_page.last.covers if c.uncovered)
    pickup = Pickup(lost.who, 9, 14.2, -6.0, 0.003, 12, fake_client.NOW_S)
    cart.show(pickups=(pickup,))
    card = next(c for c in cart.window.watch_page.cards if c.uncovered)
    assert card.cover.startswith("9 ")
    assert "14 dB over its own sound" in card.cover
    assert "guess" not in card.cover
    cart.show(pickups=(replace(pickup, seconds=2),))
    card = next(c for c in cart.window.watch_page.cards if c.uncovered)
    assert card.cover.endswith("A guess: listen first.")
