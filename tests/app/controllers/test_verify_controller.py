"""Did the recorder get it: the page, with work that the test plays."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import QMimeData, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from app.controllers import verify_controller
from app.models import report_subjects
from app.models.report_subjects import Subject
from app.report.verify_job import VerifyJob
from app.report.worker import Failed, News, Step, Stopped
from app.services.preferences import Preferences
from app.views.verify.recorder_page import RecorderPage
from app.window.main_window import MainWindow
from tests.support.qt import fake_client, pages
from tests.support.qt.verify_pages import complete, incomplete

NIGHT, EARLIER = Path("/data/night"), Path("/data/earlier")


class PlayedWork:
    """A comparison whose news the test makes up."""

    def __init__(self) -> None:
        self.jobs: list[VerifyJob] = []
        self.said: list[News] = []
        self.cancelled = self.closed = 0

    def __call__(self, job: VerifyJob) -> PlayedWork:
        """Begin."""
        self.jobs.append(job)
        return self

    def news(self) -> News | None:
        """The next word."""
        return self.said.pop(0) if self.said else None

    def cancel(self) -> None:
        """No longer wanted."""
        self.cancelled += 1

    def kill(self) -> None:
        """By force."""

    def close(self) -> None:
        """Let go."""
        self.closed += 1


class Desk:
    """A window with two earlier sessions."""

    def __init__(self, window: MainWindow) -> None:
        self.window, self.work = window, PlayedWork()
        window.verifying._begin = self.work
        window.verifying._clock = lambda: self.now
        self.now = 100.0

    def open(self) -> RecorderPage:
        """By its key."""
        QTest.keyClick(self.window, Qt.Key.Key_R, Qt.KeyboardModifier.ControlModifier)
        page = self.window.layer.current
        assert isinstance(page, RecorderPage)
        return page

    def say(self, *news: News) -> None:
        """The work says that."""
        for one in news:
            self.work.said.append(one)
            self.window.verifying.poll()


def drop(target: object, *paths: str) -> None:
    """Let these fall onto it."""
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(path) for path in paths])
    at, none = QPointF(20, 20), Qt.KeyboardModifier.NoModifier
    left = Qt.MouseButton.LeftButton
    event = QDropEvent(at, Qt.DropAction.CopyAction, data, left, none)
    target.dropEvent(event)  # type: ignore[attr-defined]


@pytest.fixture
def desk(tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """On the start page."""
    found = [Subject("night", "tonight", session=NIGHT), Subject("e", "before", session=EARLIER)]
    monkeypatch.setattr(report_subjects, "sessions", lambda: found)
    window, _ = pages.make_window(tmp_path)
    qtbot.addWidget(window)
    pages.show(window)
    return Desk(window)


def test_a_cards_folder_is_dropped_onto_it(desk: Desk) -> None:
    """Against the newest session, or the one that was chosen."""
    page = desk.open()
    drop(page, "/card/A001")
    page.sessions.setCurrentIndex(1)
    drop(page, "/card/A001", "/card/more.wav")
    assert desk.work.jobs == [
        VerifyJob(NIGHT, ("/card/A001",)),
        VerifyJob(EARLIER, ("/card/A001", "/card/more.wav")),
    ]


def test_what_falls_beside_the_page_counts_as_well(desk: Desk) -> None:
    """Even while a live input is watched; without the page it opens as a take."""
    desk.open()
    drop(desk.window, "/card")
    assert desk.work.jobs == [VerifyJob(NIGHT, ("/card",))]


def test_progress_says_what_is_left(desk: Desk) -> None:
    """Not before there is something to tell it by."""
    page = desk.open()
    page.take_in(["/card"])
    desk.now += 1.0
    desk.say(Step("T01.wav", 0.1))
    assert page.words.text() == "Comparing T01.wav"
    desk.now += 9.0
    desk.say(Step("T02.wav", 0.25))
    assert page.words.text() == "Comparing T02.wav · 0:30 left"
    assert page.bar.value() == 250
    assert not page.folder.isVisible()


def test_one_large_word_then_what_to_do(desk: Desk) -> None:
    """Complete, or not and why."""
    page = desk.open()
    page.take_in(["/card"])
    desk.say(incomplete())
    assert page.word.text() == "NOT COMPLETE"
    cells = [[page.lines.item(n, c).text() for c in range(4)] for n in range(4)]
    assert cells[0][0] == "20:42:11:07 to 21:28:51:00"
    assert cells[0][2:] == [
        "● 46.7 minutes of the session in no take",
        "look for the missing take on every card before anyone goes home",
    ]
    assert cells[3][2].startswith("○")
    assert desk.work.closed == 1
    page.take_in(["/card"])
    desk.say(complete())
    assert (page.word.text(), page.word.property("tone")) == ("COMPLETE", "complete")
    assert "3 takes" in page.timeline.accessibleDescription()


def test_it_can_be_cancelled(desk: Desk) -> None:
    """By its button, or by leaving the page: nobody waits for the process."""
    page = desk.open()
    page.take_in(["/card"])
    page.cancel.click()
    assert (desk.work.cancelled, page.words.text()) == (1, "Cancelling…")
    desk.say(Step("T02.wav", 0.3))
    assert page.words.text() == "Cancelling…"
    desk.say(Stopped())
    assert page.words.text() == "Cancelled."
    page.take_in(["/card"])
    page.hide()
    assert (desk.work.cancelled, desk.work.closed) == (2, 1)
    desk.say(Stopped())
    assert desk.work.closed == 2
    assert not desk.window.verifying._timer.isActive()


def test_what_can_not_be_done_is_said(desk: Desk) -> None:
    """In one line, and the page is ready for another try."""
    page = desk.open()
    page.take_in(["/card"])
    desk.say(Failed("no takes there"))
    assert page.words.text() == "No takes there."
    assert page.folder.isVisible()


def test_the_sheet_is_written_and_shown(
    desk: Desk, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Beside the session's reports; where it can't be written, that is said."""
    opened: list[Path] = []
    monkeypatch.setattr(verify_controller, "open_path", opened.append)
    prefs: Preferences = desk.window.prefs
    prefs._store.setValue("report/folder", str(tmp_path))
    page = desk.open()
    page.take_in(["/card"])
    desk.say(complete())
    page.paper.click()
    assert opened == [tmp_path / "night" / "recorder.pdf"]
    assert opened[0].read_bytes().startswith(b"%PDF")
    (tmp_path / "file").write_text("", encoding="utf-8")
    prefs._store.setValue("report/folder", str(tmp_path / "file"))
    page.paper.click()
    assert "directory" in page.words.text()


def test_from_the_board_it_is_of_the_watch_that_runs(
    tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not of the newest one in the list."""
    found = [Subject("night", "tonight", session=NIGHT), Subject("e", "before", session=EARLIER)]
    monkeypatch.setattr(report_subjects, "sessions", lambda: found)
    window, crew, _ = pages.watching(tmp_path, fake_client.tower_plan())
    qtbot.addWidget(window)
    crew.client.folder = EARLIER
    assert Desk(window).open().session == EARLIER
    window.layer.hide()


def test_a_drill_is_not_given_away(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its log names what was put in."""
    desk.window.verifying._secret = lambda: True
    desk.window.verifying.show()
    assert desk.window.layer.current is None


def test_without_a_session_nothing_can_be_compared(
    tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """And that is said."""
    monkeypatch.setattr(report_subjects, "sessions", list)
    window, _ = pages.make_window(tmp_path)
    qtbot.addWidget(window)
    pages.show(window)
    desk = Desk(window)
    page = desk.open()
    drop(page, "/card")
    assert page.words.text() == "No session was watched on this computer yet."
    assert desk.work.jobs == []
