"""What tests of the window share."""

from __future__ import annotations

from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from app.window.main_window import MainWindow
from tests.support.qt import fake_client, pages


@pytest.fixture
def shown(tmp_path: Path, qtbot: QtBot) -> tuple[MainWindow, fake_client.Crew]:
    """A window watching the night at the tower with its faults."""
    window, crew, _ = pages.watching(tmp_path, fake_client.tower_plan(), fake_client.tower_alarms())
    qtbot.addWidget(window)
    return window, crew
