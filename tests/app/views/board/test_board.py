"""The board as it is drawn: text fits, only what changed is painted, words for those who hear."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QRect
from PySide6.QtGui import QFontMetrics, QImage, QRegion
from pytestqt.qtbot import QtBot

from app.models.board_rows import GroupState, RowState
from app.style.state_marks import Mark
from app.style.theme import DAY, NIGHT, scale_for
from app.views.board import row_text
from app.views.board.board import Board
from app.views.board.board_picture import BoardPicture
from app.views.board.row_text import Text
from engine.model.listening import Listening
from engine.model.messages import Kind, Severity
from engine.model.tracks import Plan, Track
from tests.support.qt import fake_client

SIZES = [(1280, 720), (1440, 900), (2560, 1440)]
COUNTS = [1, 12, 16, 64]


def board_of(qtbot: QtBot, plan: Plan, size: tuple[int, int]) -> Board:
    """A board as large as it is in a window of that size."""
    scale = scale_for(*size)
    board = Board(NIGHT)
    qtbot.addWidget(board)
    board.resize(size[0] - round(380 * scale), size[1] - round(76 * scale))
    board.set_look(NIGHT, scale)
    board.start(plan)
    return board


def plan_of(count: int) -> Plan:
    """The tower night for 12, else a plan of that many tracks."""
    return fake_client.tower_plan() if count == 12 else fake_client.large_plan(count)


def every_text(board: Board, state: RowState, heading: GroupState) -> list[Text]:
    """All text of the board with every row in that state."""
    picture, scene = board.picture(), board.scene
    args = picture.fonts, NIGHT
    found = []
    for row in picture.layout.rows:
        found += row_text.name_texts(row, scene.plan.tracks[row.track_index], state, *args)
        found += row_text.state_texts(row, state, *args)
    for group in picture.layout.groups:
        found += row_text.heading_texts(group, scene.groups[group.index].name, heading, *args)
    return found


STATES = [
    RowState(Mark.OK, "live"),
    RowState(Mark.OK, "quiet", "as expected"),
    RowState(Mark.RED, "samples lost", "1:02:03 · backup 64 · seen", Severity.RED),
    RowState(Mark.AMBER, "clipping", "0:06 · backup 4", Severity.AMBER),
    RowState(Mark.OUT_OF_SERVICE, "out of service", "O puts it back"),
]


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("count", COUNTS)
def test_no_text_is_cut_off(qtbot: QtBot, count: int, size: tuple[int, int]) -> None:
    """At every size and number of tracks each text lies inside its box, in width and height."""
    board = board_of(qtbot, plan_of(count), size)
    for state in STATES:
        for heading in (GroupState(), GroupState(covered_by=64), GroupState(uncovered=True)):
            for text in every_text(board, state, heading):
                metrics = QFontMetrics(text.font)
                assert metrics.horizontalAdvance(text.words) <= text.box.width(), text
                assert metrics.height() <= text.box.height() + 1, text
                assert board.rect().contains(text.box.translated(board.picture().offset))


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("count", COUNTS)
def test_words_and_names_are_whole(qtbot: QtBot, count: int, size: tuple[int, int]) -> None:
    """State words and the names of an ordinary plan are shown in full."""
    board = board_of(qtbot, plan_of(count), size)
    words = {t.words for s in STATES for t in every_text(board, s, GroupState())}
    assert {s.word for s in STATES} <= words
    tracks = (board.scene.plan.tracks[row.track_index] for row in board.picture().layout.rows)
    assert {t.label for t in tracks} <= words


@pytest.mark.parametrize("size", SIZES, ids=str)
@pytest.mark.parametrize("lower", [0, 120], ids=["watch", "drill"])
def test_which_pack_covers_is_never_cut(qtbot: QtBot, lower: int, size: tuple[int, int]) -> None:
    """Ten minutes into a fault its note still ends with the number, also over a drill's panel."""
    board = board_of(qtbot, plan_of(12), size)
    board.resize(board.width(), board.height() - round(lower * scale_for(*size)))
    note = "10:08 · backup 64"
    state = RowState(Mark.AMBER, "dead mic", note, Severity.AMBER)
    told = [t.words for t in every_text(board, state, GroupState()) if t.words.startswith("10:")]
    assert told == [note] * len(board.picture().layout.rows) or board.picture().fonts.dense


def test_no_two_texts_overlap(qtbot: QtBot) -> None:
    """Texts of the densest board share no pixel."""
    board = board_of(qtbot, plan_of(64), SIZES[0])
    covered = QRegion()
    for text in every_text(board, STATES[2], GroupState(covered_by=4)):
        wide = QFontMetrics(text.font).horizontalAdvance(text.words)
        box = QRect(text.box)
        if text.align & row_text.Qt.AlignmentFlag.AlignLeft:
            box.setWidth(wide)
        assert not covered.intersects(box), text.words
        covered = covered.united(box)


def test_names_differ_even_when_cut(qtbot: QtBot) -> None:
    """Long names that differ only at their end stay apart."""
    long = "Hauler at the second winch, spare pack"
    plan = Plan(tuple(Track(n, f"{long} {n}") for n in range(1, 65)))
    board = board_of(qtbot, plan, SIZES[0])
    state = RowState(Mark.OK, "live")
    names = [
        row_text.name_texts(r, plan.tracks[r.track_index], state, board.picture().fonts, NIGHT)[
            1
        ].words
        for r in board.picture().layout.rows
    ]
    assert len(set(names)) == 64


def painted(board: Board, monkeypatch: pytest.MonkeyPatch, snapshot: object) -> QRegion:
    """What a snapshot marks for painting."""
    region = QRegion()

    def note(*what: QRect) -> None:
        nonlocal region
        region = region.united(what[0] if what else board.rect())

    monkeypatch.setattr(board, "update", note)
    board.show_snapshot(snapshot)
    monkeypatch.undo()
    return region


def test_only_what_changed_is_painted(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same again paints nothing; new levels paint bars and numbers alone."""
    plan = fake_client.tower_plan()
    board = board_of(qtbot, plan, (1440, 900))
    first = fake_client.snapshot(plan, fake_client.tower_alarms())
    board.show_snapshot(first)
    board.picture()
    board.show_snapshot(first)
    assert painted(board, monkeypatch, first).isEmpty()
    louder = replace(first, momentary_lufs=first.momentary_lufs + 3)
    region = painted(board, monkeypatch, louder)
    picture = board.picture()
    assert not region.isEmpty()
    for row in picture.layout.rows:
        assert region.contains(picture.shifted(row.level))
        assert not region.intersects(picture.shifted(row.ribbon))
        assert not region.intersects(picture.shifted(row.state))


def test_a_new_fault_paints_its_group(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    """A track that turns red is painted anew; groups without change are not."""
    plan = fake_client.tower_plan()
    board = board_of(qtbot, plan, (1440, 900))
    first = fake_client.snapshot(plan)
    board.show_snapshot(first)
    board.picture()
    board.show_snapshot(first)
    region = painted(board, monkeypatch, replace(first, alarms=fake_client.tower_alarms()[2:3]))
    picture = board.picture()
    rows = {plan.tracks[r.track_index].input: picture.shifted(r.state) for r in picture.layout.rows}
    assert region.contains(rows[9])
    assert not region.intersects(rows[1])


@pytest.mark.parametrize("count", [12, 64])
def test_what_is_painted_in_part_is_what_would_be_painted_whole(
    qtbot: QtBot, monkeypatch: pytest.MonkeyPatch, count: int
) -> None:
    """After seconds in which faults come, last and go, no pixel of before is left."""
    plan = plan_of(count)
    alarms = fake_client.tower_alarms() if count == 12 else fake_client.many_alarms(plan)
    board = board_of(qtbot, plan, (1440, 900))
    shown = board.grab().toImage().convertToFormat(QImage.Format.Format_RGB32)
    for n in range(12):
        some = alarms[n % 3 :] if n < 9 else alarms
        snapshot = fake_client.snapshot(plan, some, fake_client.NOW_S + 0.6 * n)
        snapshot = replace(snapshot, listening=Listening(3 if n % 4 else None))
        region = painted(board, monkeypatch, snapshot)
        board.render(shown, region.boundingRect().topLeft(), region)
    board._drop_picture()
    assert board.grab().toImage().convertToFormat(shown.format()) == shown


def test_a_fault_that_lasts_paints_its_cell_alone(
    qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A second later only what says how long is painted anew."""
    plan, alarms = fake_client.tower_plan(), fake_client.tower_alarms()[2:3]
    board = board_of(qtbot, plan, (1440, 900))
    first = fake_client.snapshot(plan, alarms)
    board.show_snapshot(first)
    board.picture()
    board.show_snapshot(first)
    region = painted(board, monkeypatch, replace(first, now_s=first.now_s + 1.0))
    picture = board.picture()
    (cell,) = [
        picture.shifted(row.state)
        for row in picture.layout.rows
        if plan.tracks[row.track_index].input == 9
    ]
    assert region == QRegion(cell)


def test_nothing_is_drawn_while_hidden(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    """A board that is not seen only takes over what it will say; shown again, it is up to date."""
    plan = fake_client.tower_plan()
    board = board_of(qtbot, plan, (1440, 900))
    board.show()
    board.grab()
    board.hide()
    monkeypatch.setattr(BoardPicture, "__init__", lambda *_: pytest.fail("drawn"))
    later = fake_client.snapshot(plan, fake_client.tower_alarms(), fake_client.NOW_S + 5)
    board.show_snapshot(later)
    monkeypatch.undo()
    board.show()
    other = board_of(qtbot, plan, (1440, 900))
    other.show_snapshot(later)
    assert board.grab().toImage() == other.grab().toImage()


def test_rows_are_described_in_words(qtbot: QtBot) -> None:
    """What is wrong can be read aloud."""
    plan = fake_client.tower_plan()
    board = board_of(qtbot, plan, (1440, 900))
    board.show_snapshot(fake_client.snapshot(plan, fake_client.tower_alarms()))
    assert "9 Boom scaffold: muted 1:10 · seen" in board.accessibleDescription()
    board.show_snapshot(fake_client.snapshot(plan))
    assert board.accessibleDescription() == "14 tracks, nothing wrong"


def test_unused_tracks_are_folded(qtbot: QtBot) -> None:
    """Unused inputs take no row."""
    plan = Plan((Track(1), Track(2, kind=Kind.UNUSED), Track(3, kind=Kind.UNUSED)))
    board = board_of(qtbot, plan, (1440, 900))
    assert [r.track_index for r in board.picture().layout.rows] == [0]
    assert board.scene.folded == (2, 3)


def test_strange_levels_are_drawn(qtbot: QtBot) -> None:
    """Levels that are no numbers, infinite or over full scale neither stop nor spoil the board."""
    plan = fake_client.large_plan(4)
    board = board_of(qtbot, plan, (1280, 720))
    odd = np.array([np.nan, -np.inf, 40.0, -200.0])
    made = fake_client.snapshot(plan, momentary_lufs=odd, level_dbfs=odd, peak_hold_dbfs=odd)
    board.show_snapshot(made)
    board.grab()
    board.show_snapshot(made)
    width = board.picture().layout.rows[0].bar.w
    assert board._levels is not None
    assert board._levels.fill == [0, 0, width, 0]


def test_look_changes_the_picture(qtbot: QtBot) -> None:
    """Night and day differ in the drawn ground."""
    board = board_of(qtbot, fake_client.tower_plan(), (1440, 900))
    night = board.grab().toImage().pixelColor(3, 3).name()
    board.set_look(DAY, 1.0)
    assert (night, board.grab().toImage().pixelColor(3, 3).name()) == (NIGHT.bg, DAY.bg)
