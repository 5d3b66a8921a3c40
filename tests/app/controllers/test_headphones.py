"""Listening from the window: keys ask the watch, the bar shows what is heard."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app.views.listen_bar import Caution, ListenPage, words_of
from app.window.main_window import MainWindow
from engine.model.commands import (
    Command,
    Listen,
    ListenDevice,
    ListenLevel,
    StopListening,
    SwitchPack,
)
from engine.model.listening import FIRST_LEVEL_DB, LIMIT_DB, Listening
from tests.support.qt import fake_client, pages


class Deck:
    """The window on the tower plan, its commands kept, and headphones that a test sets."""

    def __init__(self, folder: Path, qtbot: QtBot, cautioned: bool = True) -> None:
        self.plan = fake_client.tower_plan()
        self.listening = Listening()
        self.client = fake_client.FakeClient(fake_client.watch(self.plan), self.snapshot)
        self.window, _ = pages.make_window(folder, fake_client.factory_of(self.client))
        qtbot.addWidget(self.window)
        self.window.resize(1440, 900)
        pages.show(self.window)
        self.window.open(pages.Open(device=0))
        self.window.bridge._timer.stop()
        self.look()
        self.window.headphones.cautioned = cautioned
        self.client.sent.clear()

    def snapshot(self, _call: int) -> object:
        """The present."""
        return fake_client.snapshot(self.plan, fake_client.tower_alarms(), listening=self.listening)

    def look(self, listening: Listening | None = None) -> None:
        """One more snapshot, with the headphones as given."""
        self.listening = listening or self.listening
        self.window.bridge.poll()

    def press(self, qtbot: QtBot, key: Qt.Key, more: object = None) -> list[Command]:
        """Press a key; returns what was asked of the watch."""
        modifier = Qt.KeyboardModifier.NoModifier if more is None else more
        self.client.sent.clear()
        qtbot.keyClick(self.window, key, modifier)
        return list(self.client.sent)


@pytest.fixture
def deck(tmp_path: Path, qtbot: QtBot) -> Deck:
    """With the caution read long ago."""
    return Deck(tmp_path, qtbot)


SHIFT = Qt.KeyboardModifier.ShiftModifier


def choose(window: MainWindow, track: int) -> None:
    """Choose that track on the board."""
    window.watch_page.board.choose((track,))


def test_the_first_listening_is_preceded_by_a_caution(tmp_path: Path, qtbot: QtBot) -> None:
    """Nothing sounds until the hearing caution was read and Listen pressed; it comes once."""
    deck = Deck(tmp_path, qtbot, cautioned=False)
    choose(deck.window, 3)
    assert deck.press(qtbot, Qt.Key.Key_L) == []
    caution = deck.window.layer.current
    assert isinstance(caution, Caution)
    qtbot.keyClick(deck.window, Qt.Key.Key_Escape)
    assert deck.client.sent == []
    deck.press(qtbot, Qt.Key.Key_L)
    caution = deck.window.layer.current
    assert isinstance(caution, Caution)
    caution.yes.click()
    assert deck.client.sent == [ListenDevice(""), Listen(3)]
    assert deck.press(qtbot, Qt.Key.Key_L) == [ListenDevice(""), Listen(3)]


def test_l_listens_live_and_stops(deck: Deck, qtbot: QtBot) -> None:
    """L hears the chosen track, on another track goes over to it, on the same stops."""
    choose(deck.window, 3)
    assert deck.press(qtbot, Qt.Key.Key_L)[-1] == Listen(3)
    deck.look(Listening(3, fake_client.NOW_S))
    choose(deck.window, 5)
    assert deck.press(qtbot, Qt.Key.Key_L)[-1] == Listen(5)
    deck.look(Listening(5, fake_client.NOW_S))
    assert deck.press(qtbot, Qt.Key.Key_L) == [StopListening()]
    assert deck.press(qtbot, Qt.Key.Key_Escape) == [StopListening()]
    assert deck.window.watching


def test_shift_l_goes_to_five_seconds_before_the_fault(deck: Deck, qtbot: QtBot) -> None:
    """The fault that began 70 s ago on the boom is heard from 75 s ago."""
    choose(deck.window, 9)
    asked = deck.press(qtbot, Qt.Key.Key_L, SHIFT)
    assert asked[-1] == Listen(9, fake_client.NOW_S - 75.0)
    choose(deck.window, 11)
    assert deck.press(qtbot, Qt.Key.Key_L, SHIFT) == []
    assert "No fault" in deck.window.watch_page.footer.notice.text()


def test_nothing_is_heard_of_nothing(deck: Deck, qtbot: QtBot) -> None:
    """Without a chosen track L asks for one; level and other pack do nothing in silence."""
    deck.window.watch_page.board.choose(())
    assert deck.press(qtbot, Qt.Key.Key_L) == []
    assert "Choose a track" in deck.window.watch_page.footer.notice.text()
    for key in (Qt.Key.Key_X, Qt.Key.Key_Plus, Qt.Key.Key_Minus):
        assert deck.press(qtbot, key) == []
    assert not deck.window.watch_page.listen_bar.isVisible()


def test_level_and_other_pack(deck: Deck, qtbot: QtBot) -> None:
    """Plus and minus move by 3 dB and stop at the limit; X asks for the other pack."""
    deck.look(Listening(3, fake_client.NOW_S, level_db=-13.0))
    assert deck.press(qtbot, Qt.Key.Key_Plus) == [ListenLevel(LIMIT_DB, LIMIT_DB)]
    assert deck.press(qtbot, Qt.Key.Key_Minus) == [ListenLevel(-16.0, LIMIT_DB)]
    assert deck.press(qtbot, Qt.Key.Key_X) == [SwitchPack()]
    bar = deck.window.watch_page.listen_bar
    assert bar.other.isVisible()
    deck.look(Listening(9, fake_client.NOW_S))
    assert not bar.other.isVisible()


def test_the_bar_says_what_is_heard(deck: Deck) -> None:
    """Input, name, pack, how long ago and what was matched, as plain text."""
    heard = Listening(4, fake_client.NOW_S - 12.0, live=False, matched_db=11.6)
    deck.look(heard)
    bar = deck.window.watch_page.listen_bar
    assert bar.words.text() == "4  Rigger safety · pack 4 · 0:12 ago · matched by +12 dB"
    assert bar.words.textFormat() is Qt.TextFormat.PlainText
    assert bar.level.text() == "−30 dB, limit −12 dB"
    assert (
        words_of(Listening(11, fake_client.NOW_S), deck.plan, fake_client.NOW_S)
        == "11  Square left · live"
    )
    deck.look(Listening(problem="the output is gone"))
    assert "the output is gone" in bar.words.text()
    deck.look(Listening())
    assert not bar.isVisible()


def test_a_memory_shorter_than_a_minute_is_told(deck: Deck, qtbot: QtBot) -> None:
    """In the bar, and before a fault whose begin is kept no longer; a whole minute is not told."""
    bar = deck.window.watch_page.listen_bar
    deck.look(Listening(4, fake_client.NOW_S - 12.0, live=False, kept_s=43.7))
    assert "0:12 ago of 0:43 kept" in bar.words.text()
    choose(deck.window, 9)  # began 70 s ago
    assert deck.press(qtbot, Qt.Key.Key_L, SHIFT)[-1] == Listen(9, fake_client.NOW_S - 75.0)
    told = deck.window.watch_page.footer.notice.text()
    assert told == "This fault began 1:10 ago; the last 0:43 are kept."
    deck.look(Listening(4, fake_client.NOW_S - 12.0, live=False, kept_s=60.0))
    assert "kept" not in bar.words.text()


def test_an_entry_is_heard_by_its_button(deck: Deck, qtbot: QtBot) -> None:
    """Listen on a card hears its track, or the first of several; again stops."""
    fixes = deck.window.watch_page.fix_list
    view = next(fixes._views[card.key] for card in fixes.cards if card.tracks == (9,))
    view.listen.click()
    assert deck.client.sent[-1] == Listen(9)
    deck.look(Listening(9, fake_client.NOW_S))
    view.listen.click()
    assert deck.client.sent[-1] == StopListening()


def test_output_and_limit(deck: Deck, qtbot: QtBot) -> None:
    """The output is kept apart from the chime's; a raised limit is said in amber and sent."""
    deck.press(qtbot, Qt.Key.Key_L, Qt.KeyboardModifier.ControlModifier)
    page = deck.window.layer.current
    assert isinstance(page, ListenPage)
    page.output.setCurrentText("Headphones")
    assert deck.window.prefs.listen_output == "Headphones"
    assert deck.window.prefs.chime.output == ""
    page.limit.setValue(-6)
    assert page.warning.property("tone") == "amber"
    assert deck.client.sent == [ListenDevice("Headphones"), ListenLevel(FIRST_LEVEL_DB, -6.0)]


def test_every_part_has_a_name(deck: Deck) -> None:
    """Each button of the bar and each control of the page says its name to a screen reader."""
    bar = deck.window.watch_page.listen_bar
    deck.window.headphones.show_page()
    page = deck.window.layer.current
    assert isinstance(page, ListenPage)
    buttons = (bar.softer, bar.louder, bar.other, bar.fault, bar.output, bar.stop)
    assert all(part.accessibleName() for part in (*buttons, page.output, page.limit, page.done))
