"""The pages of reports and of long work, for the tests and for screenshots."""

from __future__ import annotations

from pathlib import Path

from app.models.choices import ReportChoices
from app.models.report_subjects import Subject, of_take
from app.views.progress_page import ProgressPage
from app.views.report.report_page import ReportPage
from app.window.main_window import MainWindow
from tests.support.qt import fake_client, pages

FOLDER = Path("/shoot/reports")


def asked_on_board(folder: Path) -> MainWindow:
    """The board under the choice of a report."""
    window, crew, _ = pages.watching(folder, fake_client.tower_plan(), fake_client.tower_alarms())
    window.prefs.report = ReportChoices(FOLDER, paper="a4")
    crew.client.folder = Path("/data/20260314T210500Z-1a2b")
    window.reports.show()
    return window


def asked_on_start(folder: Path) -> MainWindow:
    """The start page under the choice of a report, with what there is to report on."""
    window, _ = pages.make_window(folder)
    window.prefs.report = ReportChoices(FOLDER, paper="a4")
    window.start.find_inputs()
    pages.show(window)
    window.reports.show()
    page = window.layer.current
    assert isinstance(page, ReportPage)
    page.subjects.clear()
    told = "2026-03-{} 21:05 · Raising the bell · 01:42:10 · {} red"
    page.offer(
        [
            *(Subject(f"night-{n}", told.format(n, n % 4), session=FOLDER) for n in (17, 16, 14)),
            *map(of_take, ("/shoot/tower/night_03.wav", "demo")),
        ]
    )
    return window


def writing(folder: Path) -> MainWindow:
    """A report on its way."""
    window = asked_on_board(folder)
    page = ProgressPage(window.layer.below, "Writing the report", "Go on in the background")
    page.put("setting the PDF's pages", 0.85)
    window.layer.open(page)
    return window


def written(folder: Path) -> MainWindow:
    """A report that is there."""
    window = writing(folder)
    page = window.layer.current
    assert isinstance(page, ProgressPage)
    words = "Report written: report.html, report.pdf, report.csv. Incidents: 14, red: 5."
    acts = [("Open the report", window.layer.hide), ("Open the folder", window.layer.hide)]
    left = "Left out: /shoot/tower/night_04.wav: damaged: its header ends too early"
    page.finish("Report", f"{words} In {FOLDER / 'night'}", left, acts)
    return window


def rendering(folder: Path) -> MainWindow:
    """The start page while the demo take is being rendered."""
    window, _ = pages.make_window(folder)
    window.start.find_inputs()
    pages.show(window)
    window.bridge.opening.emit("demo take: writing 40 %")
    return window


REPORT_PAGES = {
    "report-board": asked_on_board,
    "report-start": asked_on_start,
    "report-writing": writing,
    "report-written": written,
    "rendering": rendering,
}
