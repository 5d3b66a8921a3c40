"""What keys ask of the watch: shelving, undo, notes, marks, breaks, batteries."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from app.alerts.chime_schedule import REPEAT_S
from app.controllers.crew_actions import NO_ENTRY, NO_SWAP, NO_TRACK
from app.models.choices import Choices
from app.views.watch_page import ENDED
from app.views.widgets.prompt import Prompt
from app.window.main_window import MainWindow
from engine.model.commands import (
    Acknowledge,
    Break,
    Command,
    FreshBattery,
    Mark,
    Note,
    OutOfService,
    Shelve,
    SwapInputs,
    Unacknowledge,
    Unshelve,
)
from engine.model.messages import Alarm, AlarmState, Fault, Severity
from tests.support.qt import fake_client, pages

Key = Qt.Key
SHIFT, CTRL = Qt.KeyboardModifier.ShiftModifier, Qt.KeyboardModifier.ControlModifier
NONE = Qt.KeyboardModifier.NoModifier


@pytest.fixture
def desk(tmp_path: Path, qtbot: QtBot) -> tuple[MainWindow, fake_client.Crew]:
    """A window watching the night at the tower with its faults."""
    window, crew, _ = pages.watching(tmp_path, fake_client.tower_plan(), fake_client.tower_alarms())
    qtbot.addWidget(window)
    return window, crew


def press(
    desk: tuple[MainWindow, fake_client.Crew], key: Key, modifier: Qt.KeyboardModifier = NONE
) -> list[Command]:
    """What pressing a key sends, then heeded by the crew's script."""
    window, crew = desk
    window.activateWindow()
    crew.client.sent.clear()
    QTest.keyClick(window, key, modifier)
    sent = list(crew.client.sent)
    window.bridge.poll()
    return sent


def typed(desk: tuple[MainWindow, fake_client.Crew], *words: str) -> list[Command]:
    """What the prompt that is open sends once these words are typed and taken."""
    window, crew = desk
    prompt = window.layer.current
    assert isinstance(prompt, Prompt)
    crew.client.sent.clear()
    for edit, text in zip(prompt.edits, words, strict=True):
        edit.clear()
        QTest.keyClicks(edit, text)
    QTest.keyClick(prompt.edits[-1], Key.Key_Return)
    sent = list(crew.client.sent)
    window.bridge.poll()
    return sent


@pytest.mark.parametrize(
    ("modifier", "seconds"), [(NONE, 300.0), (SHIFT, 900.0), (CTRL, None)], ids=["5", "15", "open"]
)
def test_three_keys_shelve(
    desk: tuple[MainWindow, fake_client.Crew], modifier: Qt.KeyboardModifier, seconds: float | None
) -> None:
    """S shelves for 5 minutes, Shift+S for 15, Ctrl+S until it is put back."""
    assert press(desk, Key.Key_S, modifier) == [Shelve(1, seconds), Shelve(2, seconds)]


def test_shelving_times_are_those_set(desk: tuple[MainWindow, fake_client.Crew]) -> None:
    """The settings' times are sent and stand on the button."""
    window, _ = desk
    window.settings.set_choices(Choices(shelve_min=2.0, shelve_long_min=40.0))
    assert press(desk, Key.Key_S)[0] == Shelve(1, 120.0)
    window.watch_page.fix_list.choose_track(3)
    assert press(desk, Key.Key_S, SHIFT) == [Shelve(4, 2400.0)]
    view = next(iter(window.watch_page.fix_list._views.values()))
    assert view.shelve_min == 2.0


def test_undo_takes_seen_back(desk: tuple[MainWindow, fake_client.Crew]) -> None:
    """After A, U makes both incidents unseen again; a second U has nothing to undo."""
    press(desk, Key.Key_A)
    assert press(desk, Key.Key_U) == [Unacknowledge(1), Unacknowledge(2)]
    assert press(desk, Key.Key_U) == []
    assert "Nothing to undo" in desk[0].watch_page.footer.notice.text()


def test_undo_of_shelving_keeps_what_was_seen(desk: tuple[MainWindow, fake_client.Crew]) -> None:
    """A seen alarm that was shelved and put back by U is seen again, and stays quiet."""
    desk[0].watch_page.fix_list.choose_track(9)
    press(desk, Key.Key_S)
    assert press(desk, Key.Key_U) == [Unshelve(3), Acknowledge(3)]


def test_undo_goes_back_step_by_step(desk: tuple[MainWindow, fake_client.Crew]) -> None:
    """Out of service, then shelved: U undoes the last first, then the one before."""
    window, _ = desk
    window.watch_page.board.track_chosen.emit(1)
    press(desk, Key.Key_O)
    window.watch_page.fix_list.choose_track(3)
    press(desk, Key.Key_S)
    assert press(desk, Key.Key_U) == [Unshelve(4)]
    assert press(desk, Key.Key_U) == [OutOfService(1, False)]


def test_putting_back_can_be_undone_for_what_was_left(
    desk: tuple[MainWindow, fake_client.Crew],
) -> None:
    """S on a shelved card puts it back; U shelves it for as long as was left."""
    window, _ = desk
    window.watch_page.fix_list.choose_track(9)
    press(desk, Key.Key_S)
    window.watch_page.fix_list.choose_track(9)
    assert press(desk, Key.Key_S) == [Unshelve(3)]
    (again,) = press(desk, Key.Key_U)
    assert isinstance(again, Shelve)
    assert again.seconds == pytest.approx(300.0, abs=1.0)


def test_a_note_is_typed_and_stands_on_the_card(desk: tuple[MainWindow, fake_client.Crew]) -> None:
    """T asks for words; letters typed there press no keys; the card shows them."""
    window, _ = desk
    window.watch_page.fix_list.choose_track(9)
    assert press(desk, Key.Key_T) == []
    assert typed(desk, "sober mug on mic") == [Note(3, "sober mug on mic")]
    assert "Note: sober mug on mic" in window.watch_page.fix_list.current_notes()


def test_an_empty_note_sends_nothing(desk: tuple[MainWindow, fake_client.Crew]) -> None:
    """Enter on an empty line notes nothing."""
    press(desk, Key.Key_T)
    assert typed(desk, "") == []


def test_m_marks_at_once_and_shift_m_with_words(desk: tuple[MainWindow, fake_client.Crew]) -> None:
    """M marks now; Shift+M keeps the moment of the key while words are typed."""
    window, _ = desk
    last = window.watch_page.last
    assert last is not None
    assert press(desk, Key.Key_M) == [Mark("", last.now_s)]
    at_s = window.watch_page.last.now_s  # type: ignore[union-attr]
    press(desk, Key.Key_M, SHIFT)
    for _ in range(5):
        window.bridge.poll()
    assert typed(desk, "helicopter") == [Mark("helicopter", at_s)]


def test_a_break_is_plain_to_see_and_ends(desk: tuple[MainWindow, fake_client.Crew]) -> None:
    """B begins a break with a band over the board, and ends it."""
    window, _ = desk
    assert press(desk, Key.Key_B) == [Break(True)]
    assert window.watch_page.rest.isVisible()
    assert "B ends it" in window.watch_page.rest.words.text()
    assert press(desk, Key.Key_B) == [Break(False)]
    assert not window.watch_page.rest.isVisible()


def test_a_fresh_battery_is_told_and_shown(desk: tuple[MainWindow, fake_client.Crew]) -> None:
    """F asks when and how long; the row then says what is left."""
    window, _ = desk
    window.watch_page.board.track_chosen.emit(1)
    at_s = window.watch_page.last.now_s  # type: ignore[union-attr]
    press(desk, Key.Key_F)
    assert typed(desk, "30", "4h") == [FreshBattery(1, at_s - 1800, "4h")]
    assert window.watch_page.board.scene.states[0].note == "3:29 h left"


@pytest.mark.parametrize(
    ("words", "wrong"), [(("soon", "4h"), "Minutes ago"), (("0", "4 hours"), "4h, 3h30 or 90min")]
)
def test_words_that_are_no_time_are_refused(
    desk: tuple[MainWindow, fake_client.Crew], words: tuple[str, str], wrong: str
) -> None:
    """The prompt stays and says what is expected."""
    press(desk, Key.Key_F)
    assert typed(desk, *words) == []
    prompt = desk[0].layer.current
    assert isinstance(prompt, Prompt)
    assert prompt.isVisible()
    assert wrong in prompt.wrong.text()


def test_a_new_watch_forgets_what_to_undo(desk: tuple[MainWindow, fake_client.Crew]) -> None:
    """What was done in the last watch can't hit an alarm of this one."""
    press(desk, Key.Key_A)
    desk[0].acts.start()
    assert press(desk, Key.Key_U) == []


def test_keys_go_back_to_the_list_once_a_page_is_closed(qtbot: QtBot, tmp_path: Path) -> None:
    """Never to a button of the header, which Enter would press; the board keeps them if it had."""
    window, _, _ = pages.watching(tmp_path, fake_client.tower_plan(), fake_client.tower_alarms())
    qtbot.addWidget(window)
    page = window.watch_page
    for had in (page.fix_list, page.board):
        had.setFocus()
        QTest.keyClick(window, Qt.Key.Key_Question)
        assert window.layer.covers
        assert not had.hasFocus()
        QTest.keyClick(window, Qt.Key.Key_Escape)
        assert had.hasFocus()


def test_keys_go_back_to_the_list_once_a_button_has_done_its_work(
    qtbot: QtBot, tmp_path: Path
) -> None:
    """*Seen it* goes away when pressed: Enter again must not shelve, nor go to standby."""
    window, crew, _ = pages.watching(tmp_path, fake_client.tower_plan(), fake_client.tower_alarms())
    qtbot.addWidget(window)
    page = window.watch_page
    view = next(iter(page.fix_list._views.values()))
    view.see.setFocus()
    QTest.keyClick(view.see, Qt.Key.Key_Return)
    window.bridge.poll()
    assert page.fix_list.hasFocus()
    crew.alarms = ()
    view.shelve.setFocus()
    window.bridge.poll()
    assert page.fix_list.hasFocus()


def test_swapped_inputs_are_swapped_in_the_plan(tmp_path: Path, qtbot: QtBot) -> None:
    """Shift+W asks for the two inputs that the chosen entry names; any other entry names none."""
    swap = fake_client.incident(9, 3, Fault.SWAPPED, Severity.AMBER, 12, tracks=(1, 3))
    alarms = (Alarm(swap, AlarmState.UNACKNOWLEDGED),)
    window, crew, _ = pages.watching(tmp_path, fake_client.tower_plan(), alarms)
    qtbot.addWidget(window)
    assert press((window, crew), Key.Key_W, SHIFT) == [SwapInputs(1, 3)]
    crew.alarms = fake_client.tower_alarms()
    window.bridge.poll()
    assert press((window, crew), Key.Key_W, SHIFT) == []
    assert window.watch_page.footer.notice.accessibleName().startswith(NO_SWAP)


@pytest.mark.parametrize("key", [Key.Key_A, Key.Key_S, Key.Key_T, Key.Key_O, Key.Key_F])
def test_a_key_with_nothing_to_act_on_says_so(key: Key, tmp_path: Path, qtbot: QtBot) -> None:
    """Nothing is wrong and nothing chosen: the key sends nothing and tells what is missing."""
    window, crew, _ = pages.watching(tmp_path, fake_client.tower_plan())
    qtbot.addWidget(window)
    assert press((window, crew), key) == []
    told = window.watch_page.footer.notice.accessibleName()
    assert told.startswith((NO_ENTRY, NO_TRACK))


def test_what_is_done_after_the_end_of_a_take_is_seen(tmp_path: Path, qtbot: QtBot) -> None:
    """The take has ended and says so, without a chime for what is over; A still sees the entry."""
    window, crew, player = pages.watching(
        tmp_path, fake_client.tower_plan(), fake_client.tower_alarms()
    )
    qtbot.addWidget(window)
    go_on = crew.client.script
    crew.client.script = lambda n: replace(go_on(n), ended=True)
    window.bridge.poll()
    page = window.watch_page
    assert page.footer.notice.accessibleName() == ENDED
    heard = len(player.played)
    window.alerts._clock.now_s += 10 * REPEAT_S  # type: ignore[attr-defined]
    first = page.cards[0]
    assert first.state is AlarmState.UNACKNOWLEDGED
    assert press((window, crew), Key.Key_A) == [Acknowledge(n) for n in first.incidents]
    assert next(c for c in page.cards if c.key == first.key).state is AlarmState.ACKNOWLEDGED
    assert len(player.played) == heard
