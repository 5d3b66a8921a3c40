"""One window a watch."""

from __future__ import annotations

from pathlib import Path

from pytestqt.qtbot import QtBot

from app.services.one_window import OneWindow


def test_a_second_start_raises_the_first(tmp_path: Path, qtbot: QtBot) -> None:
    """The second is told that there is one already, and the first hears of it."""
    first, second = OneWindow(), OneWindow()
    assert first.claim(tmp_path)
    with qtbot.waitSignal(first.raised):
        assert not second.claim(tmp_path)
    first.release()
    assert second.claim(tmp_path)
    second.release()


def test_other_sessions_have_windows_of_their_own(tmp_path: Path, qtbot: QtBot) -> None:
    """Two takes, two windows."""
    first, second = OneWindow(), OneWindow()
    assert first.claim(tmp_path / "a")
    assert second.claim(tmp_path / "b")
    first.release()
    second.release()
