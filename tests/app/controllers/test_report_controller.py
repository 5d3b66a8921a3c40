"""The report from the window: chosen by keyboard, written elsewhere, told in one line."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from app.controllers import report_controller
from app.models.choices import ReportChoices
from app.models.report_subjects import of_session, of_take
from app.report.job import ReportJob, Written
from app.report.worker import Failed, News, Step, Stopped
from app.report.write import Files
from app.views.progress_page import ProgressPage
from app.views.report.report_page import MARKERS, READING, ReportPage
from app.window.main_window import MainWindow
from engine.model.commands import Open
from engine.session.summary import SessionSummary
from tests.support.qt import fake_client, pages
from tests.support.sample_session import SessionWriter, crew_plan

Key = Qt.Key


class FakeWork:
    """A report that goes on as the test says."""

    def __init__(self, job: ReportJob) -> None:
        self.job = job
        self.next: list[News] = []
        self.cancelled = self.closed = False

    def news(self) -> News | None:
        """The next word of the script."""
        return self.next.pop(0) if self.next else None

    def cancel(self) -> None:
        """Note it."""
        self.cancelled = True

    def close(self) -> None:
        """Note it."""
        self.closed = True


@pytest.fixture
def window(tmp_path: Path, qtbot: QtBot) -> MainWindow:
    """A window watching the night at the tower, whose session lies in a folder."""
    made, crew, _ = pages.watching(tmp_path, fake_client.tower_plan(), fake_client.tower_alarms())
    qtbot.addWidget(made)
    crew.client.folder = tmp_path / "night"
    made.prefs.report = ReportChoices(tmp_path / "reports", ("html", "csv"), "letter")
    made.reports._begin = FakeWork
    return made


def choice(window: MainWindow) -> ReportPage:
    """The page to choose on, opened by its key."""
    QTest.keyClick(window, Key.Key_W)
    page = window.layer.current
    assert isinstance(page, ReportPage)
    return page


def at_work(window: MainWindow) -> tuple[FakeWork, ProgressPage]:
    """A report on its way, and its page."""
    choice(window).write.click()
    page = window.layer.current
    assert isinstance(page, ProgressPage)
    work = window.reports._work
    assert isinstance(work, FakeWork)
    return work, page


def test_the_key_asks_and_enter_writes(window: MainWindow, tmp_path: Path) -> None:
    """W, Enter: the session on the board, in the forms and folder chosen last."""
    page = choice(window)
    assert "Raising the bell" in page.chosen[0].words
    QTest.keyClick(page.focusWidget() or page.write, Key.Key_Return)
    work = window.reports._work
    assert isinstance(work, FakeWork)
    folder = tmp_path / "reports" / "night"
    assert work.job == ReportJob(
        sessions=(tmp_path / "night",),
        takes=(),
        files=Files(html=folder / "report.html", csv=folder / "report.csv"),
        paper="letter",
    )


def test_markers_are_written_beside_the_report(window: MainWindow, tmp_path: Path) -> None:
    """Ticked, alone or with others, they go into the report's folder, and are ticked next time."""
    page = choice(window)
    for form, box in page.forms.items():
        box.setChecked(form == MARKERS)
    page.write.click()
    work = window.reports._work
    assert isinstance(work, FakeWork)
    assert work.job.markers == tmp_path / "reports" / "night"
    assert work.job.files == Files()
    assert window.prefs.report.forms == (MARKERS,)


def test_the_button_of_the_board_asks_too(window: MainWindow) -> None:
    """The header has a button for it."""
    window.watch_page.header.report.click()
    assert isinstance(window.layer.current, ReportPage)


def test_progress_is_shown_and_the_end_told(
    window: MainWindow, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The bar moves; at the end one line, and buttons that open folder and report."""
    work, page = at_work(window)
    work.next = [Step("setting the PDF's pages", 0.25)]
    window.reports.poll()
    assert page.words.text() == "setting the PDF's pages"
    assert page.bar.value() == page.bar.maximum() / 4
    html = tmp_path / "reports" / "report.html"
    work.next = [Written("Report written: report.html.", html.parent, html, ("night.wav: torn",))]
    window.reports.poll()
    assert work.closed
    assert not window.reports.at_work
    assert str(html.parent) in page.words.text()
    assert "night.wav: torn" in page.more.text()
    opened: list[Path] = []
    monkeypatch.setattr(report_controller, "open_path", opened.append)
    for button in page.panel.findChildren(type(page.cancel)):
        if button.text().startswith("Open"):
            button.click()
    assert opened == [html, html.parent]


def test_cancelling_asks_and_waits_for_the_end(window: MainWindow) -> None:
    """Cancel: the report is told, the page says so until it has ended."""
    work, page = at_work(window)
    page.cancel.click()
    assert work.cancelled
    assert page.words.text() == "Cancelling…"
    work.next = [Step("too late", 0.5)]
    window.reports.poll()
    assert page.words.text() == "Cancelling…"
    work.next = [Stopped()]
    window.reports.poll()
    assert "Cancelled" in page.words.text()
    assert work.closed


def test_the_board_can_be_used_meanwhile(window: MainWindow) -> None:
    """Esc hides the page, the report goes on, W shows it again; the footer tells of the end."""
    work, page = at_work(window)
    QTest.keyClick(page, Key.Key_Escape)
    assert not window.layer.covers
    assert window.reports.at_work
    QTest.keyClick(window, Key.Key_W)
    assert isinstance(window.layer.current, ProgressPage)
    QTest.keyClick(window, Key.Key_Escape)
    work.next = [Failed("the report can't be written: disk full")]
    window.reports.poll()
    assert not window.layer.covers
    assert "disk full" in window.watch_page.footer.notice.text()


def test_another_page_in_its_place_is_no_harm(window: MainWindow, qtbot: QtBot) -> None:
    """Help opened over a report on its way takes its page for good: news of it go on."""
    work, page = at_work(window)
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    with qtbot.waitSignal(page.destroyed):
        window.settings.show_help()
    work.next = [Step("setting the PDF's pages", 0.25)]
    window.reports.poll()
    window.reports.cancel()
    work.next = [Stopped()]
    window.reports.poll()
    assert "Cancelled" in window.watch_page.footer.notice.text()


def test_nothing_chosen_is_refused(window: MainWindow) -> None:
    """No form, no folder: a line says what is missing, nothing begins."""
    page = choice(window)
    for box in page.forms.values():
        box.setChecked(False)
    page.write.click()
    assert "form" in page.problem.text()
    page.forms["pdf"].setChecked(True)
    page.folder.clear()
    page.write.click()
    assert "folder" in page.problem.text()
    assert not window.reports.at_work


def test_an_older_report_there_is_told_of(window: MainWindow, tmp_path: Path) -> None:
    """Before anything is written over, the page says so."""
    page = choice(window)
    assert page.there.text() == ""
    (tmp_path / "report.csv").write_text("older")
    page.folder.setText(str(tmp_path))
    assert "replaced" in page.there.text()


def test_what_was_chosen_is_remembered(window: MainWindow, tmp_path: Path) -> None:
    """Forms, paper and folder of the last report are those of the next."""
    page = choice(window)
    page.forms["pdf"].setChecked(True)
    page.paper.setCurrentIndex(0)
    page.write.click()
    assert window.prefs.report == ReportChoices(tmp_path / "reports", ("html", "pdf", "csv"), "a4")


def test_a_drill_tells_nothing_before_its_score(window: MainWindow) -> None:
    """A report would name the faults that the crew is to find."""
    window.drills.begin(Open(demo=True, seed=1))
    window.reports.show()
    assert not window.layer.covers
    assert "after the drill" in window.watch_page.footer.notice.text()
    window.drills.begin(Open(device=0))


def test_leaving_the_window_ends_it(window: MainWindow) -> None:
    """A report does not outlive its window half written."""
    work, _ = at_work(window)
    window._live = False
    window.close()
    assert work.closed


# The start page


@pytest.fixture
def at_start(tmp_path: Path, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> MainWindow:
    """The start page, with two earlier sessions and a recent take."""
    monkeypatch.setattr("app.models.report_subjects.sessions_folder", lambda: tmp_path / "sessions")
    for number, name in enumerate(("20260314T200000Z-aaaa", "20260315T200000Z-bbbb")):
        plan = replace(crew_plan(4), title=f"Night {number}")
        writer = SessionWriter(tmp_path / "sessions" / name, plan)
        writer.run(0.0, 60.0)
        writer.close()
    made, _ = pages.make_window(tmp_path)
    qtbot.addWidget(made)
    made.prefs.report = ReportChoices(tmp_path / "reports", ("html",), "a4")
    made.prefs.remember("/shoot/tower/night_03.wav")
    made.reports._begin = FakeWork
    pages.show(made)
    return made


def test_earlier_sessions_and_takes_are_listed(at_start: MainWindow, tmp_path: Path) -> None:
    """The newest session is ticked; several make one report."""
    page = choice(at_start)
    words = [page.subjects.item(n).text() for n in range(page.subjects.count())]
    assert ["Night" in word for word in words] == [True, True, False, False]
    assert "night_03.wav" in words[2]
    assert len(page.chosen) == 1
    page.subjects.item(3).setCheckState(Qt.CheckState.Checked)
    at_start.start_page.plan = None
    page.write.click()
    work = at_start.reports._work
    assert isinstance(work, FakeWork)
    assert len(work.job.sessions) == 1
    assert work.job.takes == ("demo",)


def test_a_list_that_takes_its_time_says_so(at_start: MainWindow) -> None:
    """Enter before the list is there is no mistake that stays on the page."""
    asked: list[tuple] = []
    at_start.background.ask = lambda *both: asked.append(both)  # type: ignore[method-assign]
    page = choice(at_start)
    assert page.there.text() == READING
    page.write.click()
    assert "at least one" in page.problem.text()
    ((_, offer),) = asked
    offer([])
    assert [subject.name for subject in page.chosen] == ["night_03"]
    assert page.problem.text() == page.there.text() == ""


def test_a_drill_is_not_taken_for_a_night(tmp_path: Path) -> None:
    """In the list it is called one, as `trackwarden sessions` does; what broke off is said too."""
    night = SessionSummary(tmp_path, 0, 60.0, "tower", "Raising the bell", 16, 2, "broken off")
    drill = replace(night, state="ended", drill="real, seed 3")
    assert of_session(night).words.endswith("· Raising the bell · 00:01:00 · 2 red · broken off")
    assert of_session(drill).words.endswith("· DRILL Raising the bell · 00:01:00 · 2 red")


def test_space_ticks_a_row(at_start: MainWindow) -> None:
    """The list works by keyboard alone."""
    page = choice(at_start)
    page.subjects.setFocus()
    QTest.keyClick(page.subjects, Key.Key_Down)
    QTest.keyClick(page.subjects, Key.Key_Space)
    assert len(page.chosen) == 2


def test_takes_from_disk_stand_instead(at_start: MainWindow, tmp_path: Path) -> None:
    """Who picks takes wants those, in a folder named after the first."""
    page = choice(at_start)
    page.add(["/shoot/a.wav", "/shoot/b.wav"])
    assert [subject.take for subject in page.chosen] == ["/shoot/a.wav", "/shoot/b.wav"]
    assert page.folder.text() == str(tmp_path / "reports" / "a")
    assert of_take("/shoot/a.wav").name == "a"


def test_the_end_is_told_on_the_start_page(at_start: MainWindow, tmp_path: Path) -> None:
    """With its page hidden, the line lies where the user looks."""
    choice(at_start).write.click()
    work = at_start.reports._work
    assert isinstance(work, FakeWork)
    at_start.layer.hide()
    work.next = [Written("Report written: report.html.", tmp_path, None)]
    at_start.reports.poll()
    assert str(tmp_path) in at_start.start_page.error.text()
