"""Where a plan is saved: it keeps its ending, and nothing is written over unasked."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtWidgets import QFileDialog, QWidget
from pytestqt.qtbot import QtBot

from app.views.plan import plan_file
from app.views.plan.plan_file import ask_where


@pytest.fixture
def window(qtbot: QtBot) -> QWidget:
    """What asks."""
    made = QWidget()
    qtbot.addWidget(made)
    return made


@pytest.mark.parametrize(
    ("typed", "saved"), [("tonight", "tonight.toml"), ("tonight.toml", "tonight.toml")]
)
def test_a_plan_is_known_by_its_ending(
    window: QWidget, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, typed: str, saved: str
) -> None:
    """Typed without one it gets it."""

    def answer(dialog: QFileDialog) -> int:
        assert dialog.acceptMode() is QFileDialog.AcceptMode.AcceptSave
        assert not dialog.testOption(QFileDialog.Option.DontConfirmOverwrite)
        dialog.selectFile(typed)
        return 1

    monkeypatch.setattr(plan_file.QFileDialog, "exec", answer)
    assert Path(ask_where(window, str(tmp_path / "plan.toml"))).name == saved


def test_giving_up_saves_nothing(window: QWidget, monkeypatch: pytest.MonkeyPatch) -> None:
    """Esc in the dialog is no path."""
    monkeypatch.setattr(plan_file.QFileDialog, "exec", lambda _dialog: 0)
    assert ask_where(window, "plan.toml") == ""
