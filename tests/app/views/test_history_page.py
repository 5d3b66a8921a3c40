"""The history page on a real log."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import QModelIndex, Qt
from PySide6.QtWidgets import QTableView, QWidget
from pytestqt.qtbot import QtBot

from app.report.write import session_section
from app.style.theme import NIGHT
from app.views.history_page import HistoryPage
from engine.model.messages import Fault, Incident, Severity
from engine.session import folders
from tests.support.qt import fake_client
from tests.support.sample_session import SessionWriter

PLAN = fake_client.tower_plan()


def log(folder: Path) -> Path:
    """A session with two incidents in its log."""
    session = SessionWriter(folder, PLAN)
    session.run(0.0, 60.0)
    for number, track, fault in ((1, 7, Fault.MUTED), (2, 9, Fault.SILENT)):
        session.incident(Incident(number, track, fault, Severity.RED, 10.03 * number, 31.0, 32.0))
    return folder


@pytest.fixture
def below(qtbot: QtBot) -> QWidget:
    """What the page is laid over."""
    made = QWidget()
    qtbot.addWidget(made)
    made.resize(1280, 720)
    return made


def opened(below: QWidget, folder: Path | None) -> HistoryPage:
    """The page over a window, reading."""
    page = HistoryPage(below, NIGHT, PLAN, fake_client.snapshot(PLAN), folder)
    page.open()
    return page


def test_reads_the_log_and_filters(qtbot: QtBot, below: QWidget, tmp_path: Path) -> None:
    """Both incidents are listed; choosing a track leaves its own."""
    page = opened(below, log(tmp_path))
    qtbot.waitUntil(lambda: page.table.rowCount() == 2)
    page.tracks.setCurrentText("9 Boom scaffold")
    assert page.table.rowCount() == 1
    index = page.table.index(0, 1, QModelIndex())
    assert page.table.data(index, Qt.ItemDataRole.DisplayRole) == "9 Boom scaffold"
    assert isinstance(page.view, QTableView)


def test_says_why_there_is_nothing(qtbot: QtBot, below: QWidget, tmp_path: Path) -> None:
    """Without a log, or with a torn one, one line says so and nothing breaks."""
    assert "no log" in opened(below, None).words.text()
    (tmp_path / folders.LOG).write_bytes(b"not a database at all" * 100)
    page = opened(below, tmp_path)
    qtbot.waitUntil(lambda: "can't be read" in page.words.text())


def test_times_are_those_of_the_report(qtbot: QtBot, below: QWidget, tmp_path: Path) -> None:
    """The frame that runs at that moment, wherever the watch has come to by now: from 21:00:00:00
    at 25 frames a second 10.03 s lie in frame 250, 20.06 s in frame 501 (plain arithmetic)."""
    page = opened(below, log(tmp_path))
    qtbot.waitUntil(lambda: page.table.rowCount() == 2)
    assert [row.cells[0] for row in page.table.rows] == ["21:00:20:01", "21:00:10:00"]
    section = session_section(tmp_path, lambda _words, _share: None)
    told = {section.timecode(entry.start_s) for entry in section.entries}
    assert told == {row.cells[0] for row in page.table.rows}
