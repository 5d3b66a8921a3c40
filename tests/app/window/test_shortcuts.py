"""What the keys of the window do."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QLineEdit
from pytestqt.qtbot import QtBot

from app.models.key_bindings import KEYS
from app.style.theme import DAY, NIGHT
from app.window.main_window import MainWindow
from engine.model import cautions
from engine.model.commands import (
    Acknowledge,
    AcknowledgeAll,
    Command,
    OutOfService,
    Shelve,
    Standby,
    Unshelve,
)
from tests.support.qt import fake_client

Key = Qt.Key


def sent(
    qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew], key: Key, **more: Qt
) -> list[Command]:
    """What pressing a key sends to the engine."""
    window, crew = shown
    window.activateWindow()
    crew.client.sent.clear()
    qtbot.keyClick(window, key, **more)
    commands = list(crew.client.sent)
    window.bridge.poll()
    return commands


def test_a_sees_the_chosen_card(qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """A acknowledges both incidents of the uncovered person; its time then says 'seen'."""
    assert sent(qtbot, shown, Key.Key_A) == [Acknowledge(1), Acknowledge(2)]
    assert shown[0].watch_page.fix_list.cards[0].time.endswith("seen")


def test_shift_a_sees_all(qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """Shift+A acknowledges all at once."""
    modifier = Qt.KeyboardModifier.ShiftModifier
    assert sent(qtbot, shown, Key.Key_A, modifier=modifier) == [AcknowledgeAll()]


def test_s_shelves_and_puts_back(qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """S shelves for five minutes; on a shelved card it puts back."""
    window, _ = shown
    qtbot.keyClick(window, Key.Key_Down)
    assert sent(qtbot, shown, Key.Key_S) == [Shelve(3, 300.0)]
    window.watch_page.fix_list.choose_track(9)
    assert sent(qtbot, shown, Key.Key_S) == [Unshelve(3)]


def test_o_takes_out_and_puts_back(
    qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]
) -> None:
    """O acts on the chosen track, healthy or not, and its row says so."""
    window, _ = shown
    window.watch_page.board.track_chosen.emit(1)
    assert sent(qtbot, shown, Key.Key_O) == [OutOfService(1, True)]
    assert window.watch_page.board.scene.states[0].word == "out of service"
    assert sent(qtbot, shown, Key.Key_O) == [OutOfService(1, False)]


def test_r_is_standby_and_plain_to_see(
    qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]
) -> None:
    """R switches standby; while it is on a band says so."""
    window, _ = shown
    band = window.watch_page.standby
    assert not band.isVisible()
    assert sent(qtbot, shown, Key.Key_R) == [Standby(True)]
    assert band.isVisible()
    assert sent(qtbot, shown, Key.Key_R) == [Standby(False)]
    assert not band.isVisible()


def test_n_changes_the_look_and_it_stays(
    qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]
) -> None:
    """N goes from night to day and back; the choice is remembered."""
    window, _ = shown
    assert window.look is NIGHT
    qtbot.keyClick(window, Key.Key_N)
    assert window.look is DAY
    assert window.prefs.look == "day"
    assert window.grab().toImage().pixelColor(2, 200).name() == DAY.bg


def test_space_quiets_the_chime(qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """Space holds the chime for two minutes, even with a button in focus, and shows it."""
    window, _ = shown
    window.watch_page.header.standby.setFocus()
    assert sent(qtbot, shown, Key.Key_Space) == []
    assert "QUIET 2:00" in window.watch_page.footer.chime.text()
    qtbot.keyClick(window, Key.Key_Space)
    assert "QUIET" not in window.watch_page.footer.chime.text()


def test_arrows_choose_cards(qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """Down goes to the next card and marks its track; at the ends the choice stays."""
    window, _ = shown
    for expected in ({9}, {3}, {5}, {5}):
        qtbot.keyClick(window, Key.Key_Down)
        assert window.watch_page.board.chosen == expected
    qtbot.keyClick(window, Key.Key_Up)
    assert window.watch_page.board.chosen == {3}


def test_help_lists_every_key_and_caution(
    qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]
) -> None:
    """? shows all keys and cautions; Esc closes it and nothing else."""
    window, _ = shown
    window.settings.show_help()
    words = [label.text() for label in window.layer.current.findChildren(QLabel)]  # type: ignore[union-attr]
    assert {k.words for k in KEYS} <= set(words)
    assert set(cautions.ALL) <= set(words)
    qtbot.keyClick(window, Key.Key_Escape)
    assert window.watching
    assert not window.layer.current.isVisible()  # type: ignore[union-attr]


def test_keys_do_not_reach_through_help(
    qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]
) -> None:
    """While a page lies over the board its keys do nothing."""
    shown[0].settings.show_help()
    assert sent(qtbot, shown, Key.Key_A) == []


def test_a_typed_number_chooses_that_track(
    qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]
) -> None:
    """Digits in quick succession are one number; arrows then go on from that row of the board."""
    window, _ = shown
    board = window.watch_page.board
    qtbot.keyClick(window.focusWidget(), Key.Key_1)
    assert board.chosen == {1}
    qtbot.keyClick(window.focusWidget(), Key.Key_2)
    assert board.chosen == {12}
    window._clock.now_s += 5.0  # type: ignore[attr-defined]
    qtbot.keyClick(window.focusWidget(), Key.Key_4)
    assert board.chosen == {4}
    qtbot.keyClick(window, Key.Key_Down)
    assert board.chosen == {5}
    assert sent(qtbot, shown, Key.Key_O) == [OutOfService(5, True)]


def test_n_changes_the_look_of_a_page_that_is_open(
    qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]
) -> None:
    """Over the history and over a session; in a line that is typed it is a letter."""
    window, _ = shown
    window.history.show()
    before = window.look
    qtbot.keyClick(window.focusWidget(), Key.Key_N)
    assert window.look is not before
    window.layer.hide()
    window.acts.note()
    edit = window.focusWidget()
    look = window.look
    qtbot.keyClicks(edit, "new capsule")
    assert isinstance(edit, QLineEdit)
    assert edit.text() == "new capsule"
    assert window.look is look
