"""The line check from the window: keys decide, the page shows what came."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from app.models.line_check_words import sheet
from app.report.print_table import table
from app.views.line_check_page import LineCheckPage
from engine.model.commands import (
    Command,
    EndLineCheck,
    LineCheckGo,
    LineCheckMark,
    Open,
    StartLineCheck,
    SwapInputs,
)
from engine.model.fault_remedies import FAULTS
from engine.model.line_results import Heard, LineCheck, LineResult, Verdict
from engine.model.messages import Fault
from tests.support.qt import fake_client, pages

ORDER = tuple(range(1, 13))
VOICE = Heard(
    speech_s=6.0,
    speech_dbfs=-24.3,
    peak_dbfs=-13.0,
    floor_dbfs=-58.0,
    offset_db=11.8,
    inverted=False,
)
DONE = (
    LineResult(1, Verdict.PASSED, 10.0, "18:00:10:00", VOICE),
    LineResult(2, Verdict.FAILED, 20.0, "18:00:20:00", Heard(taps=2), "<b>cable</b>"),
)


class Deck:
    """The window with a check that a test sets."""

    def __init__(self, folder: Path, qtbot: QtBot | None, size: tuple[int, int]) -> None:
        self.plan = fake_client.tower_plan()
        self.check: LineCheck | None = None
        self.calls = 0
        self.client = fake_client.FakeClient(fake_client.watch(self.plan), self.snapshot)
        self.window, _ = pages.make_window(folder, fake_client.factory_of(self.client))
        if qtbot is not None:
            qtbot.addWidget(self.window)
        self.window.resize(*size)
        pages.show(self.window)
        self.window.open(Open(device=0))
        self.window.bridge._timer.stop()
        self.look(None)
        self.client.sent.clear()

    def snapshot(self, call: int) -> object:
        """The present."""
        now_s = fake_client.NOW_S + 0.05 * call
        return fake_client.snapshot(
            self.plan, fake_client.tower_alarms(), now_s, line_check=self.check
        )

    def look(self, check: LineCheck | None) -> None:
        """One more snapshot with that check."""
        self.check = check
        self.window.bridge.poll()

    @property
    def page(self) -> LineCheckPage:
        """The check's page."""
        page = self.window.line_checks.page
        assert page is not None
        return page

    def press(self, qtbot: QtBot, key: Qt.Key, modifier: object = None) -> list[Command]:
        """Press a key where the focus is; returns what was asked of the watch."""
        self.client.sent.clear()
        at = self.window.focusWidget() or self.window
        qtbot.keyClick(at, key, modifier or Qt.KeyboardModifier.NoModifier)
        return list(self.client.sent)


def at_three(heard: Heard = VOICE) -> LineCheck:
    """A check that asks for input 3."""
    return LineCheck(ORDER, 3, heard, DONE)


@pytest.fixture
def deck(tmp_path: Path, qtbot: QtBot) -> Deck:
    """A window on the tower plan."""
    return Deck(tmp_path, qtbot, (1440, 900))


def test_k_begins_with_all_and_shift_k_with_one(deck: Deck, qtbot: QtBot) -> None:
    """K asks for every track in use, Shift+K for the chosen one, Esc ends the check."""
    assert deck.press(qtbot, Qt.Key.Key_K) == [StartLineCheck(())]
    deck.look(at_three())
    assert deck.press(qtbot, Qt.Key.Key_Escape) == [EndLineCheck()]
    assert deck.window.watching
    deck.window.watch_page.board.choose((5,))
    shift = Qt.KeyboardModifier.ShiftModifier
    assert deck.press(qtbot, Qt.Key.Key_K, shift) == [StartLineCheck((5,))]


def test_keys_decide_and_step(deck: Deck, qtbot: QtBot) -> None:
    """Enter passes, F fails, S skips, arrows step; no key reaches the board below."""
    deck.press(qtbot, Qt.Key.Key_K)
    deck.look(at_three())
    assert deck.press(qtbot, Qt.Key.Key_Return) == [LineCheckMark(Verdict.PASSED, "", 3)]
    assert deck.press(qtbot, Qt.Key.Key_F) == [LineCheckMark(Verdict.FAILED, "", 3)]
    assert deck.press(qtbot, Qt.Key.Key_S) == [LineCheckMark(Verdict.SKIPPED, "", 3)]
    assert deck.press(qtbot, Qt.Key.Key_Right) == [LineCheckGo(4)]
    assert deck.press(qtbot, Qt.Key.Key_Left) == [LineCheckGo(2)]
    for key in (Qt.Key.Key_O, Qt.Key.Key_R, Qt.Key.Key_A):
        assert deck.press(qtbot, key) == []


def test_a_note_goes_with_the_verdict(deck: Deck, qtbot: QtBot) -> None:
    """T types a note, its letters decide nothing, and it is sent with the verdict."""
    deck.press(qtbot, Qt.Key.Key_K)
    deck.look(at_three())
    assert deck.press(qtbot, Qt.Key.Key_T) == []
    assert deck.page.note.hasFocus()
    qtbot.keyClicks(deck.page.note, "soft cable fs")
    assert deck.client.sent == []
    assert deck.press(qtbot, Qt.Key.Key_Return) == []
    assert deck.press(qtbot, Qt.Key.Key_F) == [LineCheckMark(Verdict.FAILED, "soft cable fs", 3)]
    assert deck.page.note.text() == ""


def test_a_wrong_patch_is_shown_and_swapped(deck: Deck, qtbot: QtBot) -> None:
    """Taps that come up elsewhere are said large, and W asks for the swap."""
    deck.press(qtbot, Qt.Key.Key_K)
    deck.look(at_three())
    assert not deck.page.track.swapped.isVisible()
    assert deck.press(qtbot, Qt.Key.Key_W) == []
    deck.look(at_three(Heard(elsewhere=6)))
    assert deck.page.track.came.text() == "Comes up on input 6"
    assert deck.page.track.swapped.isVisible()
    assert deck.press(qtbot, Qt.Key.Key_W) == [SwapInputs(3, 6)]


def test_the_page_shows_what_was_heard(deck: Deck, qtbot: QtBot) -> None:
    """Track, pack, prompt, levels with their targets, pair and findings, as plain text."""
    deck.press(qtbot, Qt.Key.Key_K)
    deck.look(at_three(replace(VOICE, clipped=True)))
    page = deck.page
    assert page.track.title.text() == "3  Rigger main"
    assert page.track.where.text() == "Pack 3 · left shoulder · receiver A"
    values = [value.text() for _, value in page.track.facts]
    assert values[0] == "−24 dBFS  (target −30 to −20)"
    assert values[3] == "main +12 dB against safety"
    assert values[4] == "matched"
    assert "lipping" in page.track.warnings[0].text()
    assert page.list.item(1).text().startswith("✕  2")
    labels = page.findChildren(QLabel)
    assert all(label.textFormat() is Qt.TextFormat.PlainText for label in labels)


def test_the_end_names_what_is_left(deck: Deck, qtbot: QtBot) -> None:
    """After the last track the counts are shown, and the tracks that did not pass."""
    deck.press(qtbot, Qt.Key.Key_K)
    deck.look(LineCheck((1, 2, 3), None, Heard(), DONE))
    assert deck.page.track.title.text() == "1 passed, 1 failed"
    assert deck.page.track.where.text() == "Still to do: 2 (<b>cable</b>), 3"


def test_names_are_never_markup_on_paper() -> None:
    """What is printed shows a note's angle brackets as they were typed."""
    state = LineCheck((1, 2, 3), None, Heard(), DONE)
    document = table("Line check", "", ("Input",) * 8, sheet(state, fake_client.tower_plan()))
    assert "<b>cable</b>" in document.toPlainText()


def test_from_the_start_page(tmp_path: Path, qtbot: QtBot) -> None:
    """K on the start page opens the chosen input and begins the check."""
    client = fake_client.FakeClient(
        fake_client.watch(fake_client.tower_plan()),
        lambda _call: fake_client.snapshot(fake_client.tower_plan()),
    )
    window, _ = pages.make_window(tmp_path, fake_client.factory_of(client))
    qtbot.addWidget(window)
    window.start.find_inputs()
    pages.show(window)
    qtbot.keyClick(window.start_page.inputs, Qt.Key.Key_K)
    window.bridge._timer.stop()
    window.bridge.poll()
    assert StartLineCheck(()) in client.sent
    assert window.line_checks.page is not None


@pytest.mark.parametrize("size", [(1280, 720), (1440, 900), (2560, 1440)])
def test_every_part_has_a_name(tmp_path: Path, qtbot: QtBot, size: tuple[int, int]) -> None:
    """Buttons, bars, list and note say their names to a screen reader."""
    deck = Deck(tmp_path, qtbot, size)
    deck.press(qtbot, Qt.Key.Key_K)
    deck.look(at_three())
    page = deck.page
    parts = (
        page.list,
        page.track.speech,
        page.track.peak,
        page.note,
        page.passed,
        page.failed,
        page.done,
    )
    assert all(part.accessibleName() for part in parts)


def test_a_swap_shows_in_the_window(deck: Deck, qtbot: QtBot) -> None:
    """Once the engine has swapped two tracks, board and check name them so; the choice stays."""
    deck.press(qtbot, Qt.Key.Key_K)
    deck.window.watch_page.board.choose((5,))
    tracks = {t.input: t for t in deck.plan.tracks}
    swapped = [replace(tracks[{3: 6, 6: 3}.get(n, n)], input=n) for n in sorted(tracks)]
    deck.plan = replace(deck.plan, tracks=tuple(swapped))
    deck.client.watching = fake_client.watch(deck.plan)
    deck.look(at_three())
    assert deck.page.track.title.text() == f"3  {tracks[6].label}"
    assert deck.window.watch_page.board.scene.plan.track(6).label == "Rigger main"
    assert deck.window.watch_page.board.chosen == {5}


def test_nothing_heard_is_not_passed(deck: Deck, qtbot: QtBot) -> None:
    """Enter asks first; pressed again the track is left for the end, marked as not heard."""
    deck.window.line_checks.check_all()
    deck.look(LineCheck(ORDER, 10, Heard(), DONE))
    deck.client.sent.clear()
    qtbot.keyClick(deck.page, Qt.Key.Key_Return)
    assert deck.client.sent == []
    assert deck.page.track.came.text().startswith("Nothing heard.")
    qtbot.keyClick(deck.page, Qt.Key.Key_Return)
    assert deck.client.sent == [LineCheckMark(Verdict.SKIPPED, "not heard", 10)]


def test_a_dead_mic_reads_dead(deck: Deck) -> None:
    """A track with a standing loss says which, and what to check, instead of waiting for sound."""
    deck.window.line_checks.check_all()
    deck.look(LineCheck(ORDER, 9, Heard(), DONE))
    remedy = next(rule.check_first for rule in FAULTS if rule.fault is Fault.MUTED)
    assert deck.page.track.came.text().startswith(f"Muted: {remedy}")


def test_a_note_stays_with_its_track(deck: Deck) -> None:
    """Typed on one track, it is not found on the next, and is there again on the way back."""
    deck.window.line_checks.check_all()
    deck.look(LineCheck(ORDER, 8, VOICE, DONE))
    deck.page.note.setText("new tape")
    deck.look(LineCheck(ORDER, 12, VOICE, DONE))
    assert deck.page.note.text() == ""
    deck.look(LineCheck(ORDER, 8, VOICE, DONE))
    assert deck.page.note.text() == "new tape"


def test_it_goes_on_by_itself_where_that_is_wished(deck: Deck) -> None:
    """A clean track passes once; without the wish nothing happens."""
    deck.window.line_checks.check_all()
    deck.client.sent.clear()
    deck.look(LineCheck(ORDER, 3, VOICE, DONE))
    assert deck.client.sent == []
    deck.page.by_itself.setChecked(True)
    for more_s in (0.0, 0.1, 0.2):  # the engine answers some snapshots later
        heard = replace(VOICE, speech_s=VOICE.speech_s + more_s)
        deck.look(LineCheck(ORDER, 3, heard, DONE))
    assert deck.client.sent == [LineCheckMark(Verdict.PASSED, "", 3)]


def test_a_note_is_typed_to_its_end(deck: Deck) -> None:
    """While a note is typed the check goes on neither by itself nor by voice."""
    deck.window.line_checks.check_all()
    deck.look(LineCheck(ORDER, 3, Heard(), DONE))
    deck.page.by_itself.setChecked(True)
    deck.page.by_voice.setChecked(True)
    deck.page.note.setFocus()
    deck.client.sent.clear()
    deck.look(LineCheck(ORDER, 3, VOICE, DONE))
    assert deck.client.sent == []
    deck.page.setFocus()
    deck.look(LineCheck(ORDER, 3, VOICE, DONE))
    assert deck.client.sent == [LineCheckMark(Verdict.PASSED, "", 3)]
