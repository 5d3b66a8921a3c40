"""The window as a whole: keys, look, leaving, plain text, dropped files."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from PySide6.QtCore import QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from PySide6.QtWidgets import QAbstractButton, QLabel, QWidget
from pytestqt.qtbot import QtBot

from app.alerts.chime import Sound
from app.style.theme import NIGHT
from app.views.input_list import NO_INPUT
from app.window.application import _load_the_rest
from app.window.main_window import MainWindow
from engine.model.commands import (
    Acknowledge,
    Open,
    Stop,
)
from engine.model.listening import Listening
from engine.model.messages import Severity
from engine.model.snapshot import LogState
from engine.model.tracks import Plan, Track
from engine.sources.base import SourceError
from tests.support.checkout import ROOT
from tests.support.qt import fake_client, pages

Key = Qt.Key


def titles(window: MainWindow) -> list[str]:
    """Titles of the cards from top to bottom of the screen."""
    labels = window.watch_page.fix_list.titles()
    tops = [label.mapTo(window, label.rect().topLeft()).y() for label in labels]
    assert tops == sorted(tops)
    return [label.text() for label in labels]


def test_the_list_stands_in_order(shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """On screen, as in the words, the most urgent is on top, and it is the chosen one."""
    window, _ = shown
    order = ["7 + 8 Foreman", "9 Boom scaffold", "3 Rigger main", "5 Mason"]
    assert titles(window) == order
    assert window.watch_page.board.chosen == {7, 8}


def test_mouse_chooses_and_answers(
    qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]
) -> None:
    """A click on a row chooses its card; the card's button acknowledges it."""
    window, crew = shown
    board = window.watch_page.board
    row = next(r for r in board.picture().layout.rows if r.track_index == 2)
    spot = board.picture().shifted(row.name).center()
    qtbot.mouseClick(board, Qt.MouseButton.LeftButton, pos=spot)
    card = window.watch_page.fix_list.current
    assert card is not None
    assert card.title == "3 Rigger main"
    view = window.watch_page.fix_list._views[card.key]
    crew.client.sent.clear()
    qtbot.mouseClick(view.see, Qt.MouseButton.LeftButton)
    assert crew.client.sent == [Acknowledge(4)]


def test_esc_asks_while_live(qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """Esc on a live watch asks; Esc again keeps watching; only the button stops."""
    window, crew = shown
    qtbot.keyClick(window, Key.Key_Escape)
    assert window.layer.current is not None
    assert window.layer.current.isVisible()
    qtbot.keyClick(window, Key.Key_Escape)
    assert window.watching
    assert not crew.client.closed
    qtbot.keyClick(window, Key.Key_Escape)
    qtbot.mouseClick(window.layer.current.yes, Qt.MouseButton.LeftButton)  # type: ignore[attr-defined]
    assert not window.watching
    assert crew.client.closed
    assert Stop() in crew.client.sent


def test_esc_leaves_a_replay_at_once(tmp_path: Path, qtbot: QtBot) -> None:
    """A replay can be left without a question; the take is still there."""
    window, crew, _ = pages.watching(tmp_path, fake_client.tower_plan())
    qtbot.addWidget(window)
    crew.client.watching = fake_client.watch(fake_client.tower_plan(), live=False)
    window.open(Open(take="night.wav"))
    window.bridge.poll()
    qtbot.keyClick(window, Key.Key_Escape)
    assert not window.watching


def test_closing_asks_while_live(qtbot: QtBot, shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """The window's close button does not end a live watch without a question."""
    window, crew = shown
    window.close()
    assert window.isVisible()
    assert not crew.client.closed
    window.layer.current.yes.click()  # type: ignore[union-attr]
    assert not window.isVisible()
    assert crew.client.closed


def test_the_most_urgent_is_heard_once(tmp_path: Path, qtbot: QtBot) -> None:
    """The first snapshot with somebody uncovered sounds so, once, and red not as well."""
    window, _, player = pages.watching(
        tmp_path, fake_client.tower_plan(), fake_client.tower_alarms()
    )
    qtbot.addWidget(window)
    window.bridge.poll()
    assert player.played == [Sound.UNCOVERED]


def test_names_are_never_markup(tmp_path: Path, qtbot: QtBot) -> None:
    """A track named as markup is shown letter by letter: every label is plain text."""
    plan = Plan((Track(1, "<b>Bold</b>", who="<img src=x>", placement="<i>x</i>"),), "<h1>T</h1>")
    one = fake_client.incident(1, 1, fake_client.Fault.MUTED, Severity.RED, 5, detail="<u>zero</u>")
    alarm = fake_client.Alarm(one, fake_client.AlarmState.UNACKNOWLEDGED)
    window, _, _ = pages.watching(tmp_path, plan, [alarm])
    qtbot.addWidget(window)
    window.settings.show_help()
    labels = window.findChildren(QLabel)
    assert any("<b>Bold</b>" in label.text() for label in labels)
    assert {label.textFormat() for label in labels} == {Qt.TextFormat.PlainText}
    assert not any(widget.toolTip() for widget in window.findChildren(QWidget))


def test_everything_pressed_has_a_name(shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """Buttons and cards can be told by a screen reader, and take the focus."""
    window, _ = shown
    for button in window.findChildren(QAbstractButton):
        if button.isVisible():
            assert button.accessibleName() or button.text(), button
            assert button.focusPolicy() != Qt.FocusPolicy.NoFocus or not button.text()


def test_a_silent_engine_is_said_large(shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """When the engine stops answering a band says that nothing is watched; news removes it."""
    window, _ = shown
    window.bridge.silent.emit(4.0)
    assert window.watch_page.silent.isVisible()
    assert "no answer for 0:04" in window.watch_page.footer.engine.text()
    window.bridge.poll()
    assert not window.watch_page.silent.isVisible()


def drop(window: MainWindow, *paths: str) -> None:
    """Drop files onto the window."""
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(p) for p in paths])
    actions, button = Qt.DropAction.CopyAction, Qt.MouseButton.LeftButton
    none = Qt.KeyboardModifier.NoModifier
    window.dropEvent(QDropEvent(QPointF(9, 9), actions, data, button, none))


def test_dropped_take_and_plan_are_opened(tmp_path: Path, qtbot: QtBot) -> None:
    """A plan dropped is kept for the take dropped after it, and both are remembered."""
    asked: list[Open] = []

    def factory(request: Open) -> fake_client.FakeClient:
        asked.append(request)
        return fake_client.FakeClient(fake_client.watch(fake_client.tower_plan()), lambda _n: None)

    window, _ = pages.make_window(tmp_path, factory)
    qtbot.addWidget(window)
    drop(window, "/shoot/night.toml")
    drop(window, "/shoot/night.wav")
    assert asked == [Open(take="/shoot/night.wav", plan="/shoot/night.toml")]
    assert window.prefs.recent == ("/shoot/night.wav", "/shoot/night.toml")
    window.bridge.close()


def test_nothing_is_opened_over_a_live_watch(shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """A file dropped by mistake does not end a live watch."""
    window, crew = shown
    drop(window, "/shoot/other.wav")
    assert not crew.client.closed
    assert "Esc" in window.watch_page.footer.notice.text()


def test_a_watch_that_cannot_open_says_why(tmp_path: Path, qtbot: QtBot) -> None:
    """The start page shows the one line of the error."""

    def refuse(_request: Open) -> fake_client.FakeClient:
        raise OSError("night.wav: no such file")

    window, _ = pages.make_window(tmp_path, refuse)
    qtbot.addWidget(window)
    window.open(Open(take="night.wav"))
    assert window.start_page.error.text() == "night.wav: no such file"


def test_the_first_window_fits_the_screen(tmp_path: Path, qtbot: QtBot) -> None:
    """Never placed before, it is no larger than the screen or than it needs at least."""
    window, *_ = pages.make_window(tmp_path)
    qtbot.addWidget(window)
    room = window.screen().availableSize().expandedTo(window.minimumSize())
    assert window.width() <= room.width()
    assert window.height() <= room.height()


def test_it_comes_back_as_large_as_it_was_left(tmp_path: Path, qtbot: QtBot) -> None:
    """Size is kept from one evening to the next."""
    window, *_ = pages.make_window(tmp_path)
    qtbot.addWidget(window)
    window.resize(960, 640)
    window.show()
    window.close()
    again, *_ = pages.make_window(tmp_path)
    qtbot.addWidget(again)
    again.show()
    assert (again.width(), again.height()) == (960, 640)


def test_inputs_are_looked_for_again(tmp_path: Path, qtbot: QtBot) -> None:
    """An interface plugged in later is found by L; what keeps inputs from being found is said."""
    window, _ = pages.make_window(tmp_path)
    qtbot.addWidget(window)
    pages.show(window)
    found: list[list[pages.FakeInput]] = [[], [pages.INPUTS[0]]]
    window.start.inputs = lambda: found.pop(0)
    window.start.find_inputs()
    page = window.start_page
    assert page.inputs.item(0).text() == NO_INPUT
    assert not page.watch.isEnabled()
    qtbot.keyClick(page, Key.Key_L)
    assert "Field interface" in page.inputs.item(0).text()
    assert page.watch.isEnabled()

    def fail() -> list[pages.FakeInput]:
        raise SourceError("live inputs need PortAudio, which is missing here")

    window.start.inputs = fail
    page.again.click()
    assert page.inputs.item(0).text() == "Live inputs need PortAudio, which is missing here."
    assert not page.watch.isEnabled()


def test_troubles_of_the_watch_are_cards(shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """A log that is not saved and a desktop that shows nothing stand in the list to fix."""
    window, _ = shown
    window.alerts.desktop.problem = "this desktop has no notification service"
    log = LogState(9.0, "No space left on device", 41)
    window.bridge.snapshot.emit(
        fake_client.snapshot(window.watch_page.plan, fake_client.tower_alarms(), log=log)
    )
    found = {card.title: card for card in window.watch_page.cards}
    assert found["Session log"].headline == "Not saved. 41 lines are in memory meanwhile."
    assert found["Session log"].evidence == "No space left on device."
    assert "no notification service" in found["Desktop alerts"].evidence


def test_the_listened_track_is_marked(shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """Who plays in the headphones is seen on the board."""
    window, _ = shown
    board = window.watch_page.board
    before = board.grab().toImage()
    plan = window.watch_page.plan
    window.bridge.snapshot.emit(
        fake_client.snapshot(plan, fake_client.tower_alarms(), listening=Listening(4, 0.0))
    )
    row = next(r for r in board.picture().layout.rows if plan.tracks[r.track_index].input == 4)
    corner = board.picture().shifted(row.number).topLeft() + QPoint(8, 8)
    assert board.grab().toImage().pixelColor(corner).name() == NIGHT.cover
    assert before.pixelColor(corner).name() != NIGHT.cover


def test_a_button_shows_its_state(shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """Rolling is said as a state; what pressing does is named under the mouse, as wide."""
    button = shown[0].watch_page.header.standby
    wide = button.sizeHint().width()
    assert button.text().startswith("● Rolling")
    button._show(act=True)
    assert button.text().startswith("Go to standby")
    assert abs(button.sizeHint().width() - wide) <= 1


@pytest.mark.parametrize(
    ("module", "later"),
    [
        ("app.cli.main", {"email", "importlib.metadata", "numpy", "shtab"}),
        ("app.window.application", {"email", "segno", "scipy", "ssl", "tomlkit", "pyqtgraph"}),
    ],
)
def test_what_the_first_page_does_not_need_is_loaded_behind_it(
    module: str, later: set[str]
) -> None:
    """Neither command line nor window loads the libraries of pages that nobody has opened."""
    code = f"import sys, {module}; print(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, check=True)
    assert not later.intersection(done.stdout.decode().split())


@pytest.mark.parametrize("waits", [False, True])
def test_the_rest_is_loaded_behind_what_was_asked_for(
    tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch, waits: bool
) -> None:
    """Behind the start page at once; behind a watch only once its first levels are there."""
    monkeypatch.setattr(MainWindow, "warm_up", lambda _window: loaded.append(True))
    loaded: list[bool] = []
    window, _ = pages.make_window(tmp_path)
    qtbot.addWidget(window)
    timer = _load_the_rest(window, window.bridge, waits=waits)
    assert timer.isActive() is not waits
    window.bridge.snapshot.emit(fake_client.snapshot(fake_client.tower_plan()))
    assert timer.isActive()
    timer.timeout.emit()
    assert loaded == [True]
    timer.stop()
    window.bridge.snapshot.emit(fake_client.snapshot(fake_client.tower_plan()))
    assert not timer.isActive()
