"""The drill in the window, with a scripted engine."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from app.controllers import drill_controller, drill_score
from app.views.drill.drill_choice import DrillChoice
from app.views.drill.drill_panel import key_of
from app.views.drill.score_page import ScorePage
from engine.model.commands import CallCause, Open, Stop
from engine.model.drill_causes import Cause
from engine.model.messages import Alarm, AlarmState, Fault, Kind, Severity
from engine.model.tracks import Plan
from tests.support.qt import drill_pages, fake_client, pages
from tests.support.qt.drill_pages import REQUEST, Stage

UNSEEN = AlarmState.UNACKNOWLEDGED
MUTED = Alarm(
    fake_client.incident(1, 5, Fault.MUTED, Severity.RED, 4.0, detail="digital zero"), UNSEEN
)
HUM = Alarm(fake_client.incident(2, 9, Fault.HUM, Severity.AMBER, 9.0), UNSEEN)


def without_code() -> Plan:
    """The plan of the tower without unused inputs and code."""
    plan = fake_client.tower_plan()
    left = (t for t in plan.tracks if t.kind not in (Kind.UNUSED, Kind.TIMECODE))
    return replace(plan, tracks=tuple(left))


def words(stage: Stage) -> str:
    """All that board and list say of what is wrong."""
    page = stage.window.watch_page
    rows = " ".join(f"{s.word} {s.note}" for s in page.board.scene.states)
    told = " ".join(f"{c.title} {c.headline} {c.check} {c.fault}" for c in page.cards)
    return f"{rows} {told} {page.board.accessibleDescription()}".lower()


def test_the_board_names_nothing_before_the_mixer(qtbot: QtBot, tmp_path: Path) -> None:
    """Colour and track show at once; fault and what to check only after a cause was picked."""
    stage = Stage(tmp_path, qtbot)
    stage.look((MUTED, HUM))
    assert stage.window.watch_page.board.scene.states[4].severity is Severity.RED
    assert "what is it?" in words(stage)
    for told in ("muted", "digital zero", "hum", "no signal"):
        assert told not in words(stage)
    qtbot.keyClick(stage.window, Qt.Key.Key_2)
    assert stage.client.sent == [CallCause(5, Cause.DEAD_MIC)]
    stage.look()
    assert "muted" in words(stage)
    assert "hum" not in words(stage)


def test_keys_pick_in_the_order_of_urgency(qtbot: QtBot, tmp_path: Path) -> None:
    """After the first is named the next key is about the next that waits."""
    stage = Stage(tmp_path, qtbot)
    stage.look((MUTED, HUM))
    qtbot.keyClick(stage.window, Qt.Key.Key_1)
    stage.look()
    assert "9 Boom scaffold: what is it?" in stage.window.watch_page.drill_panel.words.text()
    qtbot.keyClick(stage.window, Qt.Key.Key_7)
    assert stage.client.sent == [CallCause(5, Cause.MUTED), CallCause(9, Cause.HUM)]


def test_who_hears_it_first_may_say_it_first(qtbot: QtBot, tmp_path: Path) -> None:
    """With no alarm yet a key is about the chosen track; without one nothing is sent."""
    stage = Stage(tmp_path, qtbot)
    page = stage.window.watch_page
    qtbot.keyClick(stage.window, Qt.Key.Key_9)
    assert stage.client.sent == []
    assert "Choose a track" in page.footer.notice.text()
    page.board.track_chosen.emit(3)
    stage.look()
    page.drill_panel.buttons[Cause.NOTHING].click()
    assert stage.client.sent == [CallCause(3, Cause.NOTHING)]


def test_blind_shows_levels_only(qtbot: QtBot, tmp_path: Path) -> None:
    """No colour, no list, no chime, no word; a track chosen by hand can still be named."""
    stage = Stage(tmp_path, qtbot, replace(REQUEST, blind=True))
    stage.look((MUTED, HUM))
    page = stage.window.watch_page
    assert not page.fix_list.isVisible()
    assert all(state.severity is None for state in page.board.scene.states)
    assert page.last is not None
    assert not page.last.ribbon.severity.any()
    assert stage.player.played == []
    page.board.track_chosen.emit(5)
    qtbot.keyClick(stage.window, Qt.Key.Key_V)
    stage.look()
    assert page.closer.isVisible()
    assert page.closer.state.text() == ""
    qtbot.keyClick(stage.window, Qt.Key.Key_V)
    qtbot.keyClick(stage.window, Qt.Key.Key_1)
    assert stage.client.sent == [CallCause(5, Cause.MUTED)]


def test_the_closer_look_keeps_a_name_back(qtbot: QtBot, tmp_path: Path) -> None:
    """It asks as the board does, until a cause was picked; glance view and bell do so too."""
    stage = Stage(tmp_path, qtbot)
    stage.look((MUTED,))
    window, closer = stage.window, stage.window.watch_page.closer
    window.watch_page.board.track_chosen.emit(5)
    qtbot.keyClick(window, Qt.Key.Key_V)
    stage.look()
    assert "what is it?" in closer.state.text()
    assert "muted" not in f"{closer.state.text()} {closer.accessibleDescription()}".lower()
    qtbot.keyClick(window, Qt.Key.Key_G)
    stage.look()
    assert window.glances.page.isVisible()
    assert "muted" not in window.glances.page.accessibleDescription().lower()
    told = [w.text().lower() for w in window.glances.page.findChildren(QLabel)]
    assert not any("muted" in words for words in told)


def test_the_history_is_closed_until_the_score(qtbot: QtBot, tmp_path: Path) -> None:
    """It would tell what the board keeps back."""
    stage = Stage(tmp_path, qtbot)
    stage.window.history.show()
    assert not stage.window.layer.covers
    assert "after the drill" in stage.window.watch_page.footer.notice.text()


def test_an_ordinary_watch_has_no_trace_of_it(qtbot: QtBot, tmp_path: Path) -> None:
    """Without a seed nothing is kept back, no panel shows and digits do nothing."""
    stage = Stage(tmp_path, qtbot, Open(demo=True))
    stage.look((MUTED,))
    assert not stage.window.watch_page.drill_panel.isVisible()
    assert "muted" in words(stage)
    qtbot.keyClick(stage.window, Qt.Key.Key_1)
    assert stage.client.sent == []


def test_the_end_shows_the_score_once(
    qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The take is over: the score page comes, and the same drill can be run again."""
    asked: list[Path] = []

    def finish(folder: Path) -> object:
        asked.append(folder)
        return drill_pages.finished(folder)

    monkeypatch.setattr(drill_score, "finish", finish)
    monkeypatch.setattr(drill_controller, "SCORE_AFTER_MS", 0)
    stage = Stage(tmp_path, qtbot)
    stage.client.folder = tmp_path
    stage.ended = True
    stage.look()
    stage.look()
    layer = stage.window.layer
    assert stage.window.watch_page.footer.notice.accessibleName() == drill_controller.SCORING
    qtbot.waitUntil(lambda: isinstance(layer.current, ScorePage))
    assert stage.window.watch_page.footer.notice.accessibleName() == ""
    assert asked == [tmp_path]
    opened: list[Open] = []
    stage.window.drills.wanted.connect(opened.append)
    assert isinstance(layer.current, ScorePage)
    layer.current.same.click()
    assert opened == [REQUEST]


@pytest.mark.parametrize("how", ["Esc", "the button", "closing"])
def test_ending_early_shows_the_score_so_far(
    qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    """However the crew leaves a drill, it ends and its score comes first; then leaving leaves."""
    monkeypatch.setattr(drill_score, "finish", drill_pages.finished)
    monkeypatch.setattr(drill_controller, "SCORE_AFTER_MS", 0)
    stage = Stage(tmp_path, qtbot)
    stage.client.folder = tmp_path
    window = stage.window

    def leave() -> None:
        if how == "Esc":
            qtbot.keyClick(window, Qt.Key.Key_Escape)
        elif how == "closing":
            window.close()
        else:
            window.watch_page.drill_panel.end.click()

    leave()
    qtbot.waitUntil(lambda: isinstance(window.layer.current, ScorePage))
    assert stage.client.sent == [Stop()]
    assert window.isVisible()
    window.close()
    assert not window.isVisible()


def test_only_what_the_plan_has_room_for_is_offered(qtbot: QtBot, tmp_path: Path) -> None:
    """No cause of unused inputs or code where the plan has none; the rest keep their keys."""
    panel = Stage(tmp_path, qtbot, plan=without_code()).window.watch_page.drill_panel
    hidden = {cause for cause, button in panel.buttons.items() if not button.isVisible()}
    assert hidden == {Cause.UNEXPECTED, Cause.TIMECODE}
    assert [key_of(c) for c in (Cause.MUTED, Cause.NOTHING, Cause.POLARITY)] == ["1", "9", "F1"]


def test_f_keys_name_the_rarer_causes(qtbot: QtBot, tmp_path: Path) -> None:
    """F3 is a duplicate; the key of a cause that is not offered does nothing."""
    stage = Stage(tmp_path, qtbot, plan=without_code())
    stage.look((MUTED,))
    qtbot.keyClick(stage.window, Qt.Key.Key_F5)
    assert stage.client.sent == []
    qtbot.keyClick(stage.window, Qt.Key.Key_F3)
    assert stage.client.sent == [CallCause(5, Cause.DUPLICATE)]


def test_a_score_that_cant_be_made_is_said(
    qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a log there is one line in the footer, no page and no crash."""
    monkeypatch.setattr(drill_controller, "SCORE_AFTER_MS", 0)
    stage = Stage(tmp_path, qtbot)
    stage.client.folder = tmp_path
    stage.window.watch_page.drill_panel.end.click()
    notice = stage.window.watch_page.footer.notice
    qtbot.waitUntil(lambda: "No score" in notice.text())
    assert not stage.window.layer.covers


def test_the_start_page_leads_to_a_drill(qtbot: QtBot, tmp_path: Path) -> None:
    """Take, level, seed and blindness chosen there are what is opened."""
    window, _ = pages.make_window(tmp_path)
    qtbot.addWidget(window)
    pages.show(window)
    opened: list[Open] = []
    window.drills.wanted.connect(opened.append)
    window.prefs.remember("/shoot/night_03.wav")
    window.start_page.drill.click()
    page = window.layer.current
    assert isinstance(page, DrillChoice)
    page.seed.setText("x1")
    page.levels["hard"].click()
    assert opened == []
    assert page.problem.text()
    page.seed.setText("21")
    page.take.setCurrentIndex(1)
    page.blind.setChecked(True)
    page.levels["hard"].click()
    assert opened == [Open(take="/shoot/night_03.wav", seed=21, level="hard", blind=True)]
