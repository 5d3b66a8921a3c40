"""Tab on every page: few stops, all to be seen, in the order in which one reads."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from app.views.plan.plan_grid import PlanGrid
from app.window.main_window import MainWindow
from tests.app.views.test_screenshots import PAGES
from tests.support.qt import pages

SHORT = 20
ONE_LINE_PX = 12
IN_CELLS = ("plan", "plan_new")
"""There Tab goes from cell to cell."""


def walk(window: MainWindow, qtbot: QtBot) -> list[QWidget]:
    """Press Tab until it comes back to where it began; what it came by."""
    seen: list[QWidget] = []
    while (part := window.focusWidget()) not in seen:
        assert part is not None
        seen.append(part)
        assert len(seen) <= SHORT
        qtbot.keyClick(part, Qt.Key.Key_Tab)
        QApplication.processEvents()
    return seen


@pytest.mark.parametrize("page", [page for page in PAGES if page not in IN_CELLS])
def test_tab_comes_round(qtbot: QtBot, tmp_path: Path, page: str) -> None:
    """Within one page, however it was opened, and from top to bottom on those that lie above."""
    window = PAGES[page](tmp_path)
    qtbot.addWidget(window)
    window.resize(1280, 720)
    pages.show(window)
    stops = walk(window, qtbot)
    assert all(stop.isVisible() for stop in stops)
    over = window.layer.current
    if over is None or not over.isVisible():
        return
    assert all(stop is over or over.isAncestorOf(stop) for stop in stops)
    tops = [stop.mapTo(window, QPoint(0, 0)).y() for stop in stops if stop is not over]
    first = tops.index(min(tops)) if tops else 0
    tops = tops[first:] + tops[:first]
    assert all(after >= top - ONE_LINE_PX for top, after in pairwise(tops))


def test_arrows_move_among_the_causes_of_a_drill(qtbot: QtBot, tmp_path: Path) -> None:
    """They are one stop of Tab; left and right go round them, and Enter names one."""
    window = PAGES["drill"](tmp_path)
    qtbot.addWidget(window)
    pages.show(window)
    panel = window.watch_page.drill_panel
    first, second, *_, last = (b for b in panel.buttons.values() if b.isVisible())
    first.setFocus()
    qtbot.keyClick(first, Qt.Key.Key_Right)
    assert second.hasFocus()
    qtbot.keyClick(second, Qt.Key.Key_Left)
    qtbot.keyClick(first, Qt.Key.Key_Left)
    assert last.hasFocus()
    with qtbot.waitSignal(panel.picked):
        qtbot.keyClick(last, Qt.Key.Key_Return)
    qtbot.keyClick(last, Qt.Key.Key_Tab)
    assert window.focusWidget() not in panel.buttons.values()


def test_tab_leaves_the_plan_at_its_edges(qtbot: QtBot, tmp_path: Path) -> None:
    """Back from the first cell to what stands above the table, on from the last one to what
    stands below it."""
    window = PAGES["plan_new"](tmp_path)
    qtbot.addWidget(window)
    pages.show(window)
    table = window.findChild(PlanGrid)
    assert isinstance(table, PlanGrid)
    for cell, key, name in (
        ((0, 0), Qt.Key.Key_Backtab, "Mixer"),
        ((15, 9), Qt.Key.Key_Tab, "Undo"),
    ):
        table.setFocus()
        table.choose(*cell)
        qtbot.keyClick(table, key)
        reached = window.focusWidget()
        assert reached is not None
        assert reached.accessibleName() == name
