"""What is remembered."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import QSettings

from app.alerts.chime import ChimeSettings
from app.models.choices import ReportChoices
from app.services.preferences import MOST_RECENT, Preferences


def prefs(folder: Path) -> Preferences:
    """Settings read afresh from the file."""
    return Preferences(QSettings(str(folder / "window.ini"), QSettings.Format.IniFormat))


def test_choices_outlive_the_window(tmp_path: Path) -> None:
    """Look, chime and recent files are there again the next day."""
    one = prefs(tmp_path)
    one.look = "day"
    one.chime = ChimeSettings(on=False, output="Headphones, left", level_db=-30.0)
    one.remember("/shoot/a.wav")
    one._store.sync()
    again = prefs(tmp_path)
    assert again.look == "day"
    assert again.chime == ChimeSettings(on=False, output="Headphones, left", level_db=-30.0)
    assert again.recent == ("/shoot/a.wav",)


def test_how_reports_are_written_outlives_the_window(tmp_path: Path) -> None:
    """Folder, forms and paper are those of the last report, until all is reset."""
    one = prefs(tmp_path)
    fresh = one.report
    one.report = ReportChoices(tmp_path, ("pdf", "json"), "letter")
    one._store.sync()
    assert prefs(tmp_path).report == ReportChoices(tmp_path, ("pdf", "json"), "letter")
    one.reset()
    assert one.report == fresh


@pytest.mark.parametrize("line", ["paper=parchment", "forms=scroll", "forms=", "folder="])
def test_spoilt_report_settings_are_as_at_first_start(tmp_path: Path, line: str) -> None:
    """What is no paper or form becomes one that is; a report always has a form and a folder."""
    (tmp_path / "window.ini").write_text(f"[report]\n{line}\n")
    found = prefs(tmp_path).report
    assert found.paper in ("a4", "letter")
    assert found.forms
    assert found.folder.is_absolute()


def test_recent_is_newest_first_and_bounded(tmp_path: Path) -> None:
    """A file opened again moves to the front; old ones fall off."""
    one = prefs(tmp_path)
    for n in range(20):
        one.remember(f"/shoot/{n}.wav")
    one.remember("/shoot/15.wav")
    assert one.recent[:2] == ("/shoot/15.wav", "/shoot/19.wav")
    assert len(one.recent) == MOST_RECENT
    assert len(set(one.recent)) == MOST_RECENT


@pytest.mark.parametrize("level", ["loud", "", "nan", "900"])
def test_a_spoilt_file_does_no_harm(tmp_path: Path, level: str) -> None:
    """A level that is no number, or far too loud, becomes a safe one."""
    (tmp_path / "window.ini").write_text(f"[chime]\nlevel_db={level}\n")
    assert -60.0 <= prefs(tmp_path).chime.level_db <= 0.0
