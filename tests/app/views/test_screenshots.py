"""Every page at every size in both looks: nothing is cut off; pictures are kept to look at."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QLabel, QLineEdit, QPushButton
from pytestqt.qtbot import QtBot

from app.alerts.chime import ChimeSettings
from app.models.choices import Choices
from app.models.input_lights import Lights
from app.models.report_subjects import Subject
from app.models.session_timeline import read_timeline
from app.style.theme import LOOKS
from app.views.plan.plan_page import PlanPage
from app.views.session.session_page import SessionPage
from app.views.widgets.basics import Elided
from app.window.main_window import MainWindow
from engine.model import crew_notes as desks
from tests.support.checkout import ROOT
from tests.support.qt import fake_client, pages
from tests.support.qt.drill_pages import DRILL_PAGES
from tests.support.qt.fleet_pages import FLEET_PAGES
from tests.support.qt.report_pages import REPORT_PAGES
from tests.support.qt.sound_pages import SOUND_PAGES
from tests.support.qt.verify_pages import VERIFY_PAGES
from tests.support.sample_session import SessionWriter, crew_plan, many_incidents

KEPT = ROOT / ".artefacts"
SIZES = [(1280, 720), (1440, 900), (2560, 1440)]


def start(folder: Path) -> MainWindow:
    """The start page with inputs and recent files."""
    window, _ = pages.make_window(folder)
    window.start_page.set_recent(["/shoot/tower/night_03.wav", "/shoot/tower/night.toml"])
    window.start.find_inputs()
    levels = [-25.0, -60.0] * 6 + [-200.0] * 4
    window.start_page.inputs.set_lights(0, Lights().after(levels, 0.1))
    window.start_page.inputs.set_lights(3, Lights().after([-200.0] * 2, 0.1))
    return window


def board(count: int) -> Callable[[Path], MainWindow]:
    """The board of that many tracks with faults."""

    def made(folder: Path) -> MainWindow:
        plan = fake_client.tower_plan() if count == 12 else fake_client.large_plan(count)
        alarms = fake_client.tower_alarms() if count == 12 else fake_client.many_alarms(plan)
        return pages.watching(folder, plan, alarms)[0]

    return made


def standby(folder: Path) -> MainWindow:
    """The board in standby, asking before it stops."""
    window = board(12)(folder)
    window.acts.standby()
    window.bridge.poll()
    window.leaving.back()
    return window


def plan_source(folder: Path) -> MainWindow:
    """The start page, asking from what to make a plan."""
    window = start(folder)
    window.first_plans.ask()
    return window


def plan_new(folder: Path) -> MainWindow:
    """A new plan of 16 inputs, the first ones filled in, one wrongly."""
    window = start(folder)
    window.first_plans.from_input(16)
    page = window.layer.current
    assert isinstance(page, PlanPage)
    for row, name in enumerate(("Foreman main", "Foreman safety", "Boom scaffold")):
        page.model.setData(page.model.index(row, 1), name)
    page.model.setData(page.model.index(2, 2), "bom")
    return window


def with_help(folder: Path) -> MainWindow:
    """The start page under help."""
    window = start(folder)
    window.settings.show_help()
    return window


def told(folder: Path) -> MainWindow:
    """The board with a note, a mark and batteries, one of them near its end."""
    window, crew, _ = pages.watching(folder, fake_client.tower_plan(), fake_client.tower_alarms())
    desk = desks.note(crew.desk, 3, "new capsule at the next break", fake_client.NOW_S)
    for number in (1, 3, 7):
        desk = desks.fresh_battery(desk, number, fake_client.NOW_S - 1980 * number, 4 * 3600)
    crew.desk = desks.mark(desk, "second attempt", fake_client.NOW_S - 60)
    window.watch_page.board.track_chosen.emit(9)
    window.bridge.poll()
    return window


def with_settings(folder: Path) -> MainWindow:
    """The board under the settings."""
    window = board(16)(folder)
    window.settings.show_settings()
    return window


def on_break(folder: Path) -> MainWindow:
    """A break, with chimes off and the batteries to change."""
    window = told(folder)
    window.settings.set_chime(ChimeSettings(on=False))
    window.acts.take_break()
    return window


def glance(folder: Path) -> MainWindow:
    """The glance view."""
    window = told(folder)
    window.settings.set_choices(Choices(glance_m=1.5))
    window.navigation.toggle_glance()
    return window


def calm(folder: Path) -> MainWindow:
    """The glance view with nothing wrong."""
    window = pages.watching(folder, fake_client.tower_plan())[0]
    window.navigation.toggle_glance()
    return window


def closer(folder: Path) -> MainWindow:
    """A closer look at a track in fault."""
    window = told(folder)
    window.watch_page.board.track_chosen.emit(7)
    window.navigation.look_closer()
    for _ in range(200):
        window.bridge.poll()
    return window


def with_history(folder: Path) -> MainWindow:
    """The history, of a watch that keeps no log."""
    window = told(folder)
    window.history.show()
    return window


def session(folder: Path) -> MainWindow:
    """What happened in a session of two hours, at its second incident."""
    plan = crew_plan(13)
    writer = SessionWriter(folder / "s", plan, live=False)
    with writer.at_once():
        writer.run(0.0, 7200.0)
        writer.levels(7200)
        for one in many_incidents(plan, 14, 7200.0):
            writer.incident(one)
        writer.mark("second attempt", 3000.0)
    writer.close()
    window = start(folder)
    page = SessionPage(window.layer.below, window.look)
    window.layer.open(page)
    page.offer([Subject("s", "2026-03-17 21:05 · Raising the bell", session=folder / "s")], None)
    page.show_timeline(read_timeline(folder / "s"))
    page.step(1)
    page.step(1)
    return window


def with_battery(folder: Path) -> MainWindow:
    """Asking about a fresh battery."""
    window = told(folder)
    window.acts.battery()
    return window


PAGES = {
    **FLEET_PAGES,
    **VERIFY_PAGES,
    **SOUND_PAGES,
    **DRILL_PAGES,
    **REPORT_PAGES,
    "start": start,
    "board1": board(1),
    "board12": board(12),
    "board16": board(16),
    "board64": board(64),
    "standby": standby,
    "help": with_help,
    "plan_source": plan_source,
    "plan_new": plan_new,
    "told": told,
    "settings": with_settings,
    "break": on_break,
    "glance": glance,
    "calm": calm,
    "closer": closer,
    "history": with_history,
    "session": session,
    "battery": with_battery,
}


def cut_off(window: MainWindow, fields: bool = True) -> list[str]:
    """Words on visible labels and buttons, and in fields, that do not fit into them."""
    found = []
    for part in window.findChildren(QLabel) + window.findChildren(QPushButton):
        if not part.isVisible() or isinstance(part, Elided) or not part.text():
            continue
        wrapped = isinstance(part, QLabel) and part.wordWrap()
        need = part.heightForWidth(part.width()) if wrapped else part.sizeHint().height()
        wide = 0 if wrapped else part.sizeHint().width()
        if need > part.height() + 1 or wide > part.width() + 1:
            found.append(f"{part.text()} {part.size()} {part.sizeHint()}")
    for line in window.findChildren(QLineEdit) if fields else ():
        wide = line.fontMetrics().horizontalAdvance(line.text() or line.placeholderText())
        if line.isVisible() and line.width() < wide:
            found.append(f"{line.text()} {line.size()} {wide}")
    return found


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_pages_fit(qtbot: QtBot, tmp_path: Path, page: str, size: tuple[int, int]) -> None:
    """No word of any page is cut off, and the page keeps to the size of the window."""
    KEPT.mkdir(exist_ok=True)
    window = PAGES[page](tmp_path)
    qtbot.addWidget(window)
    window.resize(*size)
    pages.show(window)
    for look in LOOKS:
        if window.look.name != look:
            window.settings.toggle_look()
        QApplication.processEvents()
        window.bridge.poll()
        QApplication.processEvents()
        assert window.size().toTuple() == size
        assert cut_off(window) == []
        assert window.grab().save(str(KEPT / f"{page}-{size[0]}x{size[1]}-{look}.png"))


@pytest.mark.parametrize("page", PAGES)
def test_pages_fit_with_large_text(qtbot: QtBot, tmp_path: Path, page: str) -> None:
    """At one and a half times the size no word on a label or button is cut off either."""
    window = PAGES[page](tmp_path)
    qtbot.addWidget(window)
    window.settings.set_choices(Choices(text_percent=150.0))
    window.resize(*SIZES[0])
    pages.show(window)
    for _ in range(2):
        window.bridge.poll()
        QApplication.processEvents()
    assert window.size().toTuple() == SIZES[0]
    assert cut_off(window, fields=False) == []


def test_a_long_title_pushes_nothing_away(qtbot: QtBot, tmp_path: Path) -> None:
    """However long the names of take and input are, clock and buttons stay where they are."""
    plan = fake_client.Plan(
        fake_client.tower_plan().tracks, "A very long title of a very long night " * 9
    )
    window, crew, _ = pages.watching(tmp_path, plan, size=(1280, 720))
    qtbot.addWidget(window)
    header = window.watch_page.header
    assert window.width() == 1280
    assert header.clock.visibleRegion().boundingRect().size() == header.clock.size()
    assert header.title.textFormat() is Qt.TextFormat.PlainText
    assert crew.client.calls
