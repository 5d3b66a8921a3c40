"""The strip of the worst alarms over every page and prompt."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.models.strip_cells import cells
from app.window.main_window import MainWindow
from engine.model.commands import Acknowledge
from engine.model.line_results import Heard, LineCheck
from tests.support.qt import fake_client, pages


@pytest.fixture
def shown(tmp_path: Path, qtbot: QtBot) -> tuple[MainWindow, fake_client.Crew]:
    """A window watching a night with faults."""
    window, crew, _ = pages.watching(tmp_path, fake_client.tower_plan(), fake_client.tower_alarms())
    qtbot.addWidget(window)
    return window, crew


def test_it_is_there_whenever_the_board_is_covered(
    shown: tuple[MainWindow, fake_client.Crew], qtbot: QtBot
) -> None:
    """Help, settings, history, report, a prompt: none hides an alarm."""
    window, _ = shown
    assert not window.strip.isVisible()
    for open_page in (
        window.settings.show_help,
        window.settings.show_settings,
        window.history.show,
        window.acts.note,
        window.line_checks.check_all,
        window.leaving.back,
    ):
        open_page()
        qtbot.wait(1)
        assert window.strip.isVisible()
        top = window.strip.mapTo(window, window.strip.rect().bottomLeft()).y()
        overlay = window.layer.current
        assert overlay is not None
        assert overlay.mapTo(window, overlay.rect().topLeft()).y() > top
        window.layer.hide()
    assert not window.strip.isVisible()


def test_worst_first_with_what_to_do(shown: tuple[MainWindow, fake_client.Crew]) -> None:
    """The one without a backup leads: who, what, how long, what to check, where."""
    window, _ = shown
    made, left = cells(window.watch_page.cards)
    assert [cell.card.title for cell in made] == [
        "7 + 8 Foreman",
        "9 Boom scaffold",
        "3 Rigger main",
    ]
    assert left == 0
    assert made[0].title == "7 + 8 Foreman · no backup · silent  0:24"
    assert made[0].body.index("mic plug") < made[0].body.index("Pack 7 chest")
    assert (made[0].solid, made[0].alone) == (True, True)
    assert (made[1].solid, made[1].unseen) == (False, False)
    assert made[2].body.startswith("Use 4 Rigger safety meanwhile.")


def test_the_key_sees_the_worst_over_a_prompt(
    shown: tuple[MainWindow, fake_client.Crew], qtbot: QtBot
) -> None:
    """F9 acknowledges the worst one while something is being typed, and the typing goes on."""
    window, crew = shown
    window.acts.mark_words()
    crew.client.sent.clear()
    qtbot.keyClick(window, Qt.Key.Key_F9)
    assert crew.client.sent == [Acknowledge(1), Acknowledge(2)]
    assert window.layer.covers


def test_the_button_sees_that_alarm(
    shown: tuple[MainWindow, fake_client.Crew], qtbot: QtBot
) -> None:
    """Each cell that waits has a button of its own; it leaves the focus where it was."""
    window, crew = shown
    window.settings.show_help()
    focus = window.focusWidget()
    crew.client.sent.clear()
    qtbot.mouseClick(window.strip.views[2].see, Qt.MouseButton.LeftButton)
    assert crew.client.sent == [Acknowledge(4)]
    assert window.focusWidget() is focus


def test_more_than_fit_are_counted(tmp_path: Path, qtbot: QtBot) -> None:
    """What has no cell is counted beside them."""
    plan = fake_client.large_plan(64)
    window, _, _ = pages.watching(tmp_path, plan, fake_client.many_alarms(plan))
    qtbot.addWidget(window)
    window.settings.show_help()
    standing = sum(card.severity is not None for card in window.watch_page.cards)
    assert window.strip.more.text() == f"+ {standing - 3} more"


@pytest.mark.parametrize("percent", [100.0, 150.0])
def test_name_fault_and_time_are_whole_at_any_size(
    shown: tuple[MainWindow, fake_client.Crew], percent: float
) -> None:
    """Rather fewer alarms side by side, and a number of what is left, than half a title."""
    window, _ = shown
    window.resize(1280, 720)
    window.settings.set_choices(replace(window.prefs.choices, text_percent=percent))
    window.settings.show_settings()
    QApplication.processEvents()
    shown_views = [view for view in window.strip.views if view.isVisible()]
    assert len(shown_views) == (3 if percent == 100.0 else 2)
    for view in shown_views:
        title = view.title
        assert title.fontMetrics().horizontalAdvance(title.text()) <= title.width()
    assert window.strip.more.isVisible() is (percent > 100.0)


def test_names_written_from_the_right_keep_numbers_in_order(tmp_path: Path, qtbot: QtBot) -> None:
    """7 + 8 stays 7 + 8 before such a name, and its time behind it: the name is set apart."""
    tower = fake_client.tower_plan()
    right = "מנהל העבודה"
    tracks = tuple(
        replace(track, name=track.name.replace("Foreman", right), who=right)
        if track.who == "Foreman"
        else track
        for track in tower.tracks
    )
    window, _, _ = pages.watching(
        tmp_path, replace(tower, tracks=tracks), fake_client.tower_alarms()
    )
    qtbot.addWidget(window)
    window.settings.show_settings()
    title = window.strip.views[0].title.text()
    assert title.startswith(f"7 + 8 \u2068{right}\u2069 · ")
    window.layer.hide()
    window.line_checks.check_all()
    page = window.line_checks.page
    assert page is not None
    page.show_state(LineCheck((7, 8), 7, Heard()), replace(tower, tracks=tracks))
    assert page.track.title.text() == f"7  \u2068{right} main\u2069"
    assert f"8  \u2068{right} safety\u2069" in page.list.item(1).text()


def test_a_long_name_pushes_no_fault_away(tmp_path: Path, qtbot: QtBot) -> None:
    """Number, main or safety, fault and time stay; the middle of the name goes."""
    tower = fake_client.tower_plan()
    long = "Assistant to the second rigger of the north scaffold main"
    tracks = tuple(replace(t, name=long) if t.input == 3 else t for t in tower.tracks)
    plan = replace(tower, tracks=tracks)
    window, _, _ = pages.watching(tmp_path, plan, fake_client.tower_alarms())
    qtbot.addWidget(window)
    made, _ = cells(window.watch_page.cards)
    assert made[2].title == "3 Assistant to the…ffold main · clipping  0:06"
