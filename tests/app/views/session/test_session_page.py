"""The page of a session, by keys and mouse."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from app.models.report_subjects import Subject
from app.models.session_timeline import read_timeline
from app.style.theme import DAY, NIGHT
from app.views.session.session_page import READING, SPAN_S, SessionPage
from engine.model.commands import Open
from tests.support.sample_session import SessionWriter, crew_plan, many_incidents

Key = Qt.Key
PLAN = crew_plan()


@pytest.fixture
def page(tmp_path: Path, qtbot: QtBot) -> SessionPage:
    """Ten minutes of a take that still lies on the disk."""
    take = tmp_path / "take.wav"
    take.touch()
    writer = SessionWriter(tmp_path / "s", PLAN, live=False, request=Open(take=str(take)))
    with writer.at_once():
        writer.run(0.0, 600.0)
        writer.levels(600)
        for one in many_incidents(PLAN, 12, 600.0):
            writer.incident(one)
    writer.close()
    host = QWidget()
    host.resize(1280, 720)
    qtbot.addWidget(host)
    made = SessionPage(host, NIGHT)
    made.host = host  # type: ignore[attr-defined]  # or Python would let it go
    host.show()
    made.open()
    made.offer([Subject("s", "tonight", session=tmp_path / "s")], tmp_path / "s")
    found = read_timeline(tmp_path / "s")
    made.show_timeline(found)
    return made


def test_arrows_go_from_incident_to_incident(page: SessionPage, qtbot: QtBot) -> None:
    """Each says what, who, from when to when; the view comes along, zoomed in."""
    onsets = [one.onset_s for one in page.incidents]
    for onset_s in onsets[:3]:
        qtbot.keyClick(page, Key.Key_Right)
        assert page.view.at_s == onset_s
        assert page.view.begin_s <= onset_s <= page.view.end_s
    assert page.view.end_s - page.view.begin_s == pytest.approx(SPAN_S)
    qtbot.keyClick(page, Key.Key_Left)
    assert page.view.at_s == onsets[1]
    assert "·" in page.what.text()
    assert " to 21:" in page.where.text()


def test_a_digit_begins_a_time_to_go_to(page: SessionPage, qtbot: QtBot) -> None:
    """Typed at once, taken by Enter; a wrong one is said, and the view stays."""
    qtbot.keyClick(page, Key.Key_2)
    qtbot.keyClicks(page.time, "1:05")
    qtbot.keyClick(page.time, Key.Key_Return)
    assert page.view.at_s == 300.0
    page.time.setText("23:59")
    qtbot.keyClick(page.time, Key.Key_Return)
    assert page.view.at_s == 300.0
    assert "no time of this session" in page.what.text()


def test_the_wheel_zooms_where_the_mouse_is(page: SessionPage, qtbot: QtBot) -> None:
    """What lies under the mouse stays there; all the way out is the whole session."""
    view = page.view
    spot = QPointF(view.width() * 0.6, view.height() * 0.6)
    under_s = view._time(spot.x())

    def turn(by: int) -> None:
        none = Qt.KeyboardModifier.NoModifier
        phase = Qt.ScrollPhase.NoScrollPhase
        button = Qt.MouseButton.NoButton
        event = QWheelEvent(spot, spot, QPoint(), QPoint(0, by), button, none, phase, False)
        view.wheelEvent(event)

    turn(360)
    assert view.end_s - view.begin_s < 600.0
    assert view._time(spot.x()) == pytest.approx(under_s, abs=0.5)
    turn(-1200)
    assert (view.begin_s, view.end_s) == (0.0, 600.0)


def test_filters_leave_what_was_asked_for(page: SessionPage) -> None:
    """One performer, reds alone."""
    page.who.setCurrentIndex(page.who.findData("Rigger"))
    assert {one.track for one in page.incidents} <= {3, 4}
    page.who.setCurrentIndex(0)
    page.severity.setCurrentIndex(1)
    assert all(one.severity.word == "red" for one in page.incidents)


def test_it_is_replayed_from_there(page: SessionPage, qtbot: QtBot) -> None:
    """L asks for the take from five seconds before the moment looked at."""
    page.go(300.0)
    with qtbot.waitSignal(page.replay_asked) as asked:
        qtbot.keyClick(page, Key.Key_L)
    assert asked.args[0].start_s == 295.0


def test_it_is_painted_in_every_state(page: SessionPage) -> None:
    """Levels, incidents and the moment are on the picture; an empty page is no trouble."""
    image = page.view.grab().toImage()
    colours = {image.pixelColor(x, y).name() for x in range(0, 1000, 7) for y in range(0, 400, 5)}
    assert NIGHT.ribbon in colours
    empty = SessionPage(page.host, NIGHT)  # type: ignore[attr-defined]
    empty.view.grab()
    empty.step(1)
    empty.show_timeline("The log can't be read: torn")
    assert empty.words.text().startswith("The log")


def test_the_look_changes_while_it_is_open(page: SessionPage) -> None:
    """The time line is painted in the colours of the day at once."""
    page.set_look(DAY)
    image = page.view.grab().toImage()
    colours = {image.pixelColor(x, y).name() for x in range(0, 1000, 7) for y in range(0, 400, 5)}
    assert DAY.ribbon in colours
    assert NIGHT.ribbon not in colours


def test_home_and_end_go_to_the_edges(page: SessionPage, qtbot: QtBot) -> None:
    """The begin of the session, and its end."""
    qtbot.keyClick(page, Key.Key_End)
    assert page.view.at_s == 600.0
    qtbot.keyClick(page, Key.Key_Home)
    assert page.view.at_s == 0.0


def test_it_is_drawn_as_large_as_the_letters_around_it(page: SessionPage) -> None:
    """Names and axis grow with the text of the window, and no moment moves under the mouse."""
    page.go(300.0)
    view = page.view
    before = view._names_px
    page.setStyleSheet("* { font-size: 28px; }")
    assert view._names_px > 1.5 * before
    assert view._time(view._x(300.0)) == pytest.approx(300.0)


def test_another_session_is_asked_for_and_said_to_be_read(page: SessionPage, qtbot: QtBot) -> None:
    """The list hands its folder on; until it comes the page says that it is being read."""
    page.offer([Subject("t", "yesterday", session=Path("/sessions/yesterday"))], None)
    page.sessions.setFocus()
    with qtbot.waitSignal(page.wanted) as wanted:
        qtbot.keyClick(page.sessions, Key.Key_Down)
        page.sessions.activated.emit(page.sessions.currentIndex())
    assert wanted.args == [Path("/sessions/yesterday")]
    assert page.words.text() == READING
