"""The closer look: the right track, its lines, and curves made once."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from tests.support.qt import fake_client, pages

CHECK = "import app.window.main_window, sys; sys.exit('pyqtgraph' in sys.modules)"


def test_v_shows_the_chosen_track_and_back(qtbot: QtBot, tmp_path: Path) -> None:
    """V opens the plot of the chosen track with floor, presence and its fault; V or Esc closes."""
    window, _, _ = pages.watching(tmp_path, fake_client.tower_plan(), fake_client.tower_alarms())
    qtbot.addWidget(window)
    page = window.watch_page
    page.board.track_chosen.emit(9)
    QTest.keyClick(window, Qt.Key.Key_V)
    for _ in range(10):
        window.bridge.poll()
    assert page.closer.isVisible()
    assert page.closer.track is not None
    assert page.closer.track.input == 9
    assert (page.closer._floor.value(), page.closer._presence.value()) == (-57.0, -66.0)
    assert "muted, began 1:10 ago" in page.closer.accessibleDescription()
    curve = page.closer._level
    page.board.track_chosen.emit(1)
    for _ in range(10):
        window.bridge.poll()
    assert page.closer.track.input == 1
    assert page.closer._level is curve
    assert np.isfinite(curve.getData()[1]).all()
    assert page.closer.state.text() == "nothing wrong"
    QTest.keyClick(window, Qt.Key.Key_Escape)
    assert page.board.isVisible()
    assert window.watching


def test_it_follows_a_changed_plan(qtbot: QtBot, tmp_path: Path) -> None:
    """A track that is renamed or moves up stays in view with its curve; one taken out does not."""
    window, crew, _ = pages.watching(tmp_path, fake_client.tower_plan(), ())
    qtbot.addWidget(window)
    page = window.watch_page
    page.board.track_chosen.emit(9)
    QTest.keyClick(window, Qt.Key.Key_V)
    for _ in range(20):
        window.bridge.poll()
    before = page.closer._level.getData()[1][-3:].tolist()
    without_3 = replace(crew.plan, tracks=tuple(t for t in crew.plan.tracks if t.input != 3))
    crew.plan = without_3
    crew.client.watching = fake_client.watch(without_3)
    for _ in range(4):
        window.bridge.poll()
    assert page.closer.track is not None
    assert page.closer.track.input == 9
    assert set(before) <= set(page.closer._level.getData()[1].tolist())
    assert len(page.board.picture().layout.rows) == len(without_3.tracks) - 1  # the spare
    crew.plan = replace(crew.plan, tracks=tuple(t for t in without_3.tracks if t.input != 9))
    crew.client.watching = fake_client.watch(crew.plan)
    window.bridge.poll()
    assert not page.closer_shown
    assert page.board.chosen == set()


def test_a_double_click_looks_closer(qtbot: QtBot, tmp_path: Path) -> None:
    """Two clicks on a row open its plot."""
    window, _, _ = pages.watching(tmp_path, fake_client.tower_plan(), fake_client.tower_alarms())
    qtbot.addWidget(window)
    board = window.watch_page.board
    row = next(r for r in board.picture().layout.rows if r.track_index == 2)
    spot = board.picture().shifted(row.name).center()
    qtbot.mouseDClick(board, Qt.MouseButton.LeftButton, pos=spot)
    assert window.watch_page.closer.track.input == 3  # type: ignore[union-attr]


def test_pyqtgraph_is_not_loaded_before() -> None:
    """A start pays nothing for a plot that nobody looks at."""
    assert subprocess.run([sys.executable, "-c", CHECK], check=False).returncode == 0
